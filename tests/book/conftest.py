"""The fixtures of the book."""

from tests.book.fixtures import book, books, empty_file, server

__all__ = ["book", "books", "empty_file", "server"]
