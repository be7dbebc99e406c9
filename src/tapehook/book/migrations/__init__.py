"""How the tables of the book came to be, step by step.

May live here: Alembic's environment and, in ``versions``, one module for each step. May not: anything that runs while
a book is merely used; opening a book of this program's version does not load it.
"""
