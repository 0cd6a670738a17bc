"""Breeding-program analytics and fertility trends: from a kennel's records to its pages.

``studcurve.analytics`` calculates, ``studcurve.reports`` shows, ``studcurve.pipelines`` reads the
records, runs both and holds the command line; ``studcurve.demo_data`` is an invented kennel.
"""
