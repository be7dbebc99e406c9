"""An import contract of our own: these packages may import these libraries, and nothing else from outside.

A list of what is forbidden forgets the next library; a list of what is allowed cannot. Only imports written
in the modules themselves count: what a layer below uses is that layer's affair. The part of the standard
library that reaches the world (files, clock, network, processes, database, chance) is out as well.
"""

import sys
from typing import cast

from grimp import ImportGraph
from importlinter import Contract, ContractCheck, fields, output

THE_WORLD = frozenset(
    {
        "asyncio",
        "concurrent",
        "ctypes",
        "datetime",
        "fcntl",
        "ftplib",
        "getpass",
        "glob",
        "http",
        "importlib",
        "io",
        "locale",
        "logging",
        "mmap",
        "multiprocessing",
        "os",
        "pathlib",
        "platform",
        "random",
        "resource",
        "sched",
        "select",
        "shelve",
        "shutil",
        "signal",
        "smtplib",
        "socket",
        "socketserver",
        "sqlite3",
        "ssl",
        "subprocess",
        "tempfile",
        "threading",
        "time",
        "tkinter",
        "urllib",
        "uuid",
        "webbrowser",
        "zipfile",
        "zoneinfo",
    }
)
HARMLESS = frozenset(sys.stdlib_module_names) - THE_WORLD


class OnlyTheseImports(Contract):
    """``modules`` and all below them import only ``allowed``, the harmless standard library, and our own."""

    modules = fields.ListField(subfield=fields.StringField())
    allowed = fields.ListField(subfield=fields.StringField())

    def check(self, graph: ImportGraph, verbose: bool) -> ContractCheck:  # noqa: FBT001 - its signature, not ours
        """Look at each import from ``modules`` that leaves the package; one not written yet is no breach."""
        output.verbose_print(verbose, f"Allowed: {self.allowed}")
        breaches = [
            (importer, imported)
            for importer in self._importers(graph)
            for imported in sorted(graph.find_modules_directly_imported_by(importer))
            if not self._is_allowed(imported, importer)
        ]
        return ContractCheck(kept=not breaches, metadata={"breaches": breaches})

    def render_broken_contract(self, check: ContractCheck) -> None:
        """Print one line for each breach."""
        for importer, imported in check.metadata["breaches"]:
            output.print_error(f"{importer} may not import {imported}")

    def _importers(self, graph: ImportGraph) -> list[str]:
        present = [module for module in _names(self.modules) if module in graph.modules]
        return sorted({found for module in present for found in {module, *graph.find_descendants(module)}})

    def _is_allowed(self, imported: str, importer: str) -> bool:
        top = _top(imported)
        return top == _top(importer) or top in HARMLESS or top in _names(self.allowed)


def _top(module: str) -> str:
    """Name of the outermost package."""
    return module.partition(".")[0]


def _names(value: object) -> list[str]:
    """What a list field holds once the linter has read it; its type says only that it is a field."""
    return cast(list[str], value)
