"""``evenbore live``: a process of its own that reads the shop's instruments and sends what they show to the program.

It opens no database. An instrument's driver that hangs, or a pattern that never ends, costs the records nothing.
"""
