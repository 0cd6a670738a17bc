"""A plan from the records and the command line; calculated in :mod:`studcurve.analytics.plan`.

``records``
    What the records say of the pair, the heat, the samples.
``wishes``
    What was asked, and the draws that follow from it.
``comparison``
    One breeding.
``schedule``
    Several bitches and one stud.
``shipment``
    A shipment that is about to leave.
``replayed``
    Chances that would have been stated in the past, from a file.
``forecasts``
    Chances that were stated, kept; what became of earlier ones.
"""
