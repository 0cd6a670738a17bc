"""How likely is a litter, and what goes with it.

``model``
    The generative story and its fit.
``chance``
    What chance the draws give to a described breeding.
``response``
    What the chance would be at another dose, day, hour.
``bred``
    What they say of the breedings of the records.
"""
