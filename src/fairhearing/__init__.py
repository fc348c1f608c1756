"""Fair Hearing: every student's take gets the same fair hearing.

From the packet that is handed out to the chair that is announced. Start reading at
``ARCHITECTURE.md``; the rooms of the house are the sub-packages of :mod:`fairhearing.core`.
"""

__version__ = "0.1.0"
