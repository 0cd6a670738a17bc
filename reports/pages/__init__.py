"""One file a page: plain results in, a :class:`~reports.page.Report` out.

``overview``, ``stud_review``, ``comparison``
    For the kennel.
``handout``, ``client_sheet``
    For the veterinarian; for the client with her box.
``slip``, ``card``
    One printed sheet: the slip in the box, the card for the wall.
``index``
    The pages of one kennel, and the lines that wait.
"""
