"""The book: where lenses, readings and jobs are kept, for one laptop or a whole rental house.

May live here: the store on SQLite and PostgreSQL, what is kept in it and how it is found again, how two books become
one, backups and checks. May not: any working out of a figure that ``prep`` or the packages below it work out, words
for a terminal, or file formats: job folders are read and written by ``job``. A record in the book is never changed;
docs/decisions/0005-the-book.md says how everything else follows from that.
"""
