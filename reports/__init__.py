"""What a person sees. Nothing here calculates, and nothing here opens a records file.

``words``, ``catalog``
    Every text a reader sees, one file a language, and how numbers and days are said.
``findings``
    What is wrong with a line, and what to do.
``page``, ``pdf``, ``templates``, ``static``
    A page as an immutable value; that value as one HTML file, or set on paper.
``theme``, ``charts``
    Colors by role; one picture a question.
``sections``
    Parts that several pages show.
``pages``
    One file a page: plain results in, a :class:`~reports.page.Report` out.
"""
