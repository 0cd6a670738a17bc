"""What a person sees. Nothing here calculates, and nothing here opens a records file.

``page``
    A frozen :class:`~reports.page.Report` and the pure function that renders it.
``charts``
    One function a question: frame in, Altair chart out.
``stud_review``, ``index``
    One file a page: plain results in, a Report out.
``theme``, ``catalog``, ``templates``, ``static``
    Colors and sizes; every text a reader sees; the page skeleton; one stylesheet and one script.
"""
