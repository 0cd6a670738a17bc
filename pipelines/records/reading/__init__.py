"""From a file on disk to lines of text, each with its number.

``files``
    Text files within bounds, or one clear sentence.
``workbook``, ``workbook_cells``
    Workbooks within bounds, and what they say of cells beyond their values.
``staging``
    Every cell as typed, in a table.
"""
