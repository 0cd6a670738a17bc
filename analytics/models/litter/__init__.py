"""How many pups, how many stillborn, how many alive at eight weeks.

``model``
    The generative story and its fit.
``sizes``
    Litters of the records beside what was to be expected.
"""
