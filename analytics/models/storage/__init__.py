"""How long does a stored sample last.

``inputs``
    What was read of each stored sample, after how many hours, how surely.
``curve``
    What the draws say of one stud and one extender.
``model``
    The generative story and its fit.
"""
