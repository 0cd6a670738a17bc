"""Several bitches in heat at one time, one stud.

``ways``
    What each bitch's options are worth when a collection is shared.
``program``
    The integer program.
``conflicts``
    Who gets which collection, and what each conflict costs.
"""
