"""What is due, from the records alone: no sampler, no fit.

``alarms``
    What heads the day: animals that a caution stops, who was exposed to them, tests that are due.
``items``
    Blood to draw, days to inseminate, scans, whelpings, what nobody entered, what runs out.
"""
