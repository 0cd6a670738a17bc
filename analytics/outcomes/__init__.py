"""What motility, concentration, hours and day went with: litters, and the size of litters.

``standardised``
    The same breedings with one of the four set, and everything else left as it was.
``methods``
    The same bitches with each of the semen types that the kennel used.
``counted``
    What came of the breedings on either side of the usual, and band by band.
``contrast``
    What the poor side may have lost, by studies, by the records alone, and by both.
``confounded``
    What else was different where one of the four was poor.
``needed``
    How many more breedings would show a difference worth acting on.
``regressing``
    What ways of regression say of any table of results, one exposure, clusters and columns.
``regressions``
    What these say of the breedings: regressions that know nothing of what is published.
``summary``
    All of it for a kennel or for one stud's breedings.

Associations, never effects: nobody drew lots over which semen a bitch was given.
"""
