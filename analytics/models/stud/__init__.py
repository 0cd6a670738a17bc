"""Has this stud's semen changed, given how it was read.

``inputs``, ``curves``, ``arrays``
    What was read of each collection; of what curves a level is made; how both enter the sampler.
``model``
    The generative story and its fit.
``level``
    Where he stands, whether he has changed, what the next collection should give.
``announcement``, ``dips``, ``charts``
    When a fall is announced and how often in error; dips that came and went; control charts.
``summary``
    Every number that is shown of one measure of one stud, once.
"""
