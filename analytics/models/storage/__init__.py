"""How long does a stored sample last.

``inputs``
    What was read of each stored sample, after how many hours, how surely.
``curve``
    What the draws say of one stud and one extender.
``usable``
    How long one stud's stored samples meet a dose.
``model``
    The generative story and its fit.
"""
