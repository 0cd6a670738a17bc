"""One file a page: plain results in, a :class:`~reports.page.Report` out.

``overview``, ``stud_review``, ``comparison``
    For the kennel.
``handout``, ``shipment_sheet``
    For the veterinarian; for the client with her shipment.
``slip``, ``card``
    One printed sheet: the slip in the shipment, the card for the wall.
``index``
    The pages of one kennel, and the lines that wait.
"""
