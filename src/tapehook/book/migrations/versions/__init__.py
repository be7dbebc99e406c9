"""The steps of the book's tables, in order.

May live here: one module a step, which makes or changes tables on SQLite and PostgreSQL alike and is never edited once
it was released. May not: imports of the tables as they are today, since a step must do tomorrow what it does now.
"""
