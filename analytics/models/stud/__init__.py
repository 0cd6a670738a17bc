"""Has this stud's semen changed, given how it was read.

``inputs``, ``curves``, ``arrays``
    What was read of each collection; of what curves a level is made; how both enter the sampler.
``model``
    The generative story and its fit.
``level``
    Where he stands, whether he has changed, what the next collection should give.
``announcement``, ``looks``, ``false_alarms``, ``power``
    When a fall is announced; what the rule sees of drifting studs, look after look; how sure a
    kennel must ask it to be, so that it seldom errs; how often true falls are then announced.
``dips``, ``charts``
    Dips that came and went; control charts.
``summary``
    Every number that is shown of one measure of one stud, once.
"""
