"""How onsets were found, as a log says it.

Method          processing and detection
method_of       the same from their parts
"""

from collections.abc import Mapping
from typing import Any

from emgreview.annotations.events import digest_of

Method = Mapping[str, Mapping[str, Any]]
"""{"processing": {"parameters", "hash"}, "detection": {"method", "parameters", "hash"}}, plain JSON."""


def method_of(
    processing: Mapping[str, Any], processing_hash: str, method: str, parameters: Mapping[str, Any]
) -> Method:
    """Processing and detection as they are written in a log. Parameters must be plain JSON."""
    detection = {"method": method, "parameters": parameters}
    return {
        "processing": {"parameters": processing, "hash": processing_hash},
        "detection": {**detection, "hash": digest_of(detection)},
    }
