"""What is handed over: the PDF, the pocket page, tables, and the fonts that go with them.

May live here: turning a prepared job into files, and how its figures are laid out. May not: working out a figure, a
share or a finding; what ``prepare`` found is shown as it is. Text from a job is data in every format: it is escaped, or
passed beside the template, never into it.
"""
