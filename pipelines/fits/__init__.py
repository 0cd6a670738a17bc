"""From views to posteriors that the records file keeps.

``storage``
    Which storage curve holds for a stud and an extender: the kept fit's or the published one.
``heats``
    When each bitch ovulated, worked out once for all that ask.
``registry``
    Which models there are, what each reads, how a kept fit becomes a posterior again.
``guard``, ``fixed_records``
    Whether a kept fit is still of today; the few records at which models are compared.
``fit``
    Fitted, kept, read again; stale fits refused.
``stud``
    What the kept fits say of each stud over time.
"""
