"""How far can a model be trusted about this kennel.

``checking``
    Is it right about kennels like this one, and what could so few records have shown.
``ledger``
    Was it right: stated chances against what came of them.
``estimating``
    What estimating equations can tell of a table, and how surely.
``second_opinion``
    What would a classical analysis say of the same breedings.
``refit``
    The same records fitted again with another belief.
``forgotten``
    What if results that nobody reported were not missing at random.
``prior_width``
    How much of an answer hangs on how far the published numbers are trusted.
"""
