"""Which sentence is true, with which numbers; its words stand in the catalog.

``program``
    Estimates and shares, as every page and the overview tell them.
``stud``
    A stud's level over time.
``trust``
    How far the models can be trusted.
``plan``
    A comparison or a season.
"""
