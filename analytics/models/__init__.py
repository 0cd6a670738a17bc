"""One folder a question; each model opens with its story and ends with what it does not know.

``sampling``, ``likelihoods``, ``regression``
    What models are built of: a sampler with its gate, outcomes, grouping factors.
``density``, ``fingerprint``
    What a model says at fixed points; whether its numbers are those that were read before.
``breedings``
    What the records say of each breeding, as arrays; read by ``conception`` and ``litter``.
``ovulation``
    When did she ovulate; on which days should which semen go in.
``stud``
    Has this stud's semen changed, given how it was read.
``storage``
    How long does a stored sample last.
``conception``
    How likely is a litter.
``litter``
    How many pups, stillborn, alive at eight weeks.

No model imports another one.
"""
