"""One function a question: a frame in, a Vega-Lite specification out.

Frames carry finished numbers under fixed plain column names; a chart lays them out and decides
nothing. Every text value may be hostile: it stays a datum and never becomes a field name. Color is
never the only carrier of meaning: shape, place or a label always says the same.

``frame``
    What pictures share: sizes, axes, legends.
``stud``, ``stored``, ``chances``, ``litters``, ``plan``, ``ledger``
    By subject.
"""
