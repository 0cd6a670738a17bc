"""What the owner's sheets hold.

``columns``
    Each sheet's columns, and which headings belong to which sheet.
``rules``, ``cell_rules``
    What cannot be true and what is doubtful: named rows; and those that follow from a column.
``dictionary``
    What each column means, for exports.
"""
