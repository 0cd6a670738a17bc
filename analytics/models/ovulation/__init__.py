"""When did she ovulate, given what was measured.

``model``
    The posterior of the time of ovulation.
``insemination_days``
    On which days should which semen go in, and when to test next.
``heat``
    What the readings of one heat say in all.
"""
