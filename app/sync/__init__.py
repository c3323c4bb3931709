"""The brain: from readings to the right next move.

Pure functions on plain frozen dataclasses. Nothing in here knows of a database, a web page, a clock or a file, and
everything is in base units (metre, second, pascal, kelvin, kilogram, radian); ``units`` holds the trade's units for
the edges. Read the modules in this order: ``layout`` and ``hardware`` say what is fitted, ``events`` what happened,
``plate`` and ``air`` how a gap becomes a flow, ``linkage`` which adjuster moves which bore, ``rounds`` how even the
bores are, ``planner`` what to do next, ``banks`` how the banks stand off idle, ``drift`` and ``creep`` what slipped
since last time, ``preset`` where to start, and ``words`` how to say it.
"""
