"""What is due, from the records alone: no sampler, no fit.

``first``
    What heads the day: animals that a caution stops, who was exposed, tests.
``items``
    Blood to draw, days to inseminate, scans, whelpings, what nobody entered, what runs out.
"""
