"""The pages a crew works on in the browser, and the same figures as JSON.

May live here: the server, who may see and change what, what a page shows and in which order, the templates, style and
scripts. May not: any working out of a figure that ``prep`` or the packages below it work out, words of a finding, or
what is kept and how: that is the book's. Depth in the page comes from the one ES module that the pocket page uses.
docs/decisions/0006-the-pages.md says why it is built as it is.
"""
