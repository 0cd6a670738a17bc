"""Which sentence is true, with which numbers; its words stand in the catalog.

``program``
    Estimates and shares, as every page and the overview tell them.
``stud``
    A stud's level over time.
``stud_page``
    Which of them head the page of a stud, in which order.
``stored``
    Stages and storage of samples.
``trust``, ``checks``, ``ledger``
    How far the models can be trusted; the paragraphs of a page about it.
``plan``
    A comparison or a schedule.
``sources``
    Where the numbers of a page come from.
"""
