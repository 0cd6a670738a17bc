"""From views and posteriors to what each page shows; the pages themselves are in ``reports``.

``kennel``
    What every page reads, once, with or without names.
``stored``, ``trust``
    Parts that several pages show.
``stud_review``, ``overview``, ``handout``, ``client_sheet``, ``comparison``
    One file a page.
"""
