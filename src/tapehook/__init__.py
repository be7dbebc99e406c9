"""tapehook: plan, measure and prove the focus system of a camera package, lens by lens.

Only the version lives here. Each package below answers one question; its own ``__init__`` says which, and
what may live in it. Data flow downwards through the packages and never back.
"""

__version__ = "0.1.0"
