"""Which licences a dependency may have, and why. Reads nothing; knows no packages.

strandwatch is under MIT and is handed on alone: pip fetches the dependencies, nothing of theirs is copied into it. So
every permissive licence will do, and copyleft only where it ends at the files it covers. Licences of the whole work
(GPL, AGPL), of the service (SSPL) or for some uses only are refused. What a wheel bundles is known only as far as its
own metadata tells.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from license_expression import ExpressionError, get_spdx_licensing

ACCEPTED: Final[Mapping[str, str]] = {
    "0BSD": "permissive, asks for nothing",
    "Apache-2.0": "permissive, with a grant of patents",
    "BSD-2-Clause": "permissive",
    "BSD-3-Clause": "permissive",
    "CC0-1.0": "gives up all rights",
    "ISC": "permissive",
    "MIT": "permissive; our own",
    "MIT-CMU": "permissive, the older words of MIT",
    "MPL-2.0": "copyleft of its own files, which are used unchanged",
    "PSF-2.0": "permissive; that of Python",
    "Python-2.0": "permissive; that of Python with its history",
    "Zlib": "permissive",
}
"""By SPDX's short names, each with the reason."""
_NAMES: Final[Mapping[str, str]] = {
    "License :: OSI Approved :: Apache Software License": "Apache-2.0",
    "License :: OSI Approved :: BSD License": "BSD-2-Clause OR BSD-3-Clause",  # which one is not said; both will do
    "License :: OSI Approved :: ISC License (ISCL)": "ISC",
    "License :: OSI Approved :: MIT License": "MIT",
    "License :: OSI Approved :: Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "License :: OSI Approved :: Python Software Foundation License": "PSF-2.0",
}
"""Older words of package metadata (PyPI's classifiers), in SPDX's."""
_SPDX: Final = get_spdx_licensing()


def is_accepted(expression: str) -> bool:
    """Whether a licence expression (SPDX 2.3, annex D) leaves us a way that is all accepted.

    >>> is_accepted("MIT"), is_accepted("GPL-3.0-only"), is_accepted("GPL-3.0-only OR MIT")
    (True, False, True)
    >>> is_accepted("MIT AND GPL-3.0-only"), is_accepted("no such licence")
    (False, False)
    """
    try:
        return _is_accepted(_SPDX.parse(_NAMES.get(expression, expression)))
    except ExpressionError:
        return False


def _is_accepted(tree: Any) -> bool:  # noqa: ANN401 -- a library's tree, which has no types
    if isinstance(tree, _SPDX.OR):
        return any(map(_is_accepted, tree.args))
    if isinstance(tree, _SPDX.AND):
        return all(map(_is_accepted, tree.args))
    return getattr(tree, "key", None) in ACCEPTED


def declared(component: Mapping[str, Any]) -> list[str]:
    """What a component of a CycloneDX document says of its licences: expressions, short names, or words."""
    return [
        choice.get("expression") or choice["license"].get("id") or choice["license"].get("name", "")
        for choice in component.get("licenses", [])
    ]


def refused(components: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Tell of every component whose licence is not known to be accepted; silence is no licence."""
    for component in components:
        said = declared(component)
        unknown = [words for words in said if not is_accepted(words)]
        if unknown or not said:
            yield f"{component['name']} {component['version']}: {'; '.join(unknown) or 'says nothing of its licence'}"
