"""Work on a cluster: the same calls by Dask's distributed scheduler.

on_cluster      results as they come to an end; a worker that dies loses nothing but what it was at
"""

import importlib
import secrets
from collections.abc import Iterator, Sequence
from contextlib import suppress
from types import ModuleType
from typing import Any

from emgreview.errors import ClusterError
from emgreview.running.cache import Cache
from emgreview.running.work import Job, Opening, Packed, about, version, work

WAIT_S = 15.0
"""So long a scheduler, and a first worker of it, may take to answer."""


def on_cluster(
    openings: Sequence[Opening], job: Job, cache: Cache | None, address: str, wait_s: float = WAIT_S
) -> Iterator[Packed]:
    """As they come to an end. Raises ClusterError where the scheduler cannot be reached, has no worker, or a worker
    lacks the package or has another version of it; each is named."""
    distributed = _library()
    try:
        client = distributed.Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as why:
        raise ClusterError(
            f"no scheduler answered at {address!r} within {wait_s:g} s ({_first_line(why)}); give the address that the "
            "scheduler told when it was started, tcp://host:8786 for instance, or leave it out to work on this machine."
        ) from why
    futures: list[Any] = []
    try:
        _demand_alike(client, address, wait_s)
        begin = secrets.token_hex(8)
        futures = [
            client.submit(
                work, opening, about(job, opening.name), cache, key=f"emgreview-{begin}-{opening.at}", pure=False
            )
            for opening in openings
        ]
        of = {future.key: opening for future, opening in zip(futures, openings, strict=True)}
        for future in distributed.as_completed(list(futures), loop=client.loop):
            yield _packed(future, of[future.key], address)
            future.release()
    finally:
        with suppress(Exception):  # a scheduler that is gone has nothing to be told
            client.cancel(futures, force=True)
        with suppress(Exception):
            client.close(timeout=2)


def _packed(future: Any, opening: Opening, address: str) -> Packed:
    try:
        packed: Packed = future.result()
    except Exception as why:
        if future.status == "cancelled" or type(why).__name__ in ("CancelledError", "FutureCancelledError"):
            raise ClusterError(
                f"the scheduler at {address!r} stopped answering; start it again and run this again: what was done is "
                "not done anew where there is a cache."
            ) from why
        ended = type(why).__name__ == "KilledWorker"
        words = "several workers died while they worked on it" if ended else f"a worker says {_first_line(why)}"
        return Packed(opening.at, opening.name, problem=f"{words}; look into the log of the workers.")
    return packed


def _demand_alike(client: Any, address: str, wait_s: float) -> None:
    try:
        client.wait_for_workers(1, timeout=wait_s)
    except Exception as why:
        raise ClusterError(
            f"the scheduler at {address!r} has no worker, and none came within {wait_s:g} s; start some: "
            f"dask worker {address}."
        ) from why
    mine = version()
    others = client.run(_what_is_there(), on_error="return")
    strange = []
    for worker, said in others.items():
        if isinstance(said, dict):
            apart = [
                f"{name} {str(said[name])[:12]} (here {str(mine[name])[:12]})"
                for name in mine
                if said[name] != mine[name]
            ]
            strange += [f"{worker} has {', '.join(apart)}"] if apart else []
        else:
            strange.append(f"{worker} cannot load the package ({_first_line(said)})")
    if strange:
        raise ClusterError(
            "results would depend on where they were made: "
            f"{'; '.join(strange)}. Every worker must have the very package that is here; install it there, and start "
            "the worker again."
        )


def _what_is_there() -> Any:
    """A function that travels whole: it must also run where the package is not."""

    def there() -> Any:
        from emgreview.running.work import version

        return version()

    return there


def _library() -> ModuleType:
    try:
        return importlib.import_module("distributed")
    except ImportError as why:
        raise ClusterError(
            "a cluster needs the package 'distributed', which is not installed here; install it with "
            "pip install 'emgreview[cluster]', or leave the cluster out to work on this machine."
        ) from why


def _first_line(why: object) -> str:
    text = str(why).strip().splitlines()
    return text[0][:200] if text else type(why).__name__
