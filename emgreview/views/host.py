"""Where the widgets run: a notebook, a served page, or a host that knows ipywidgets alone.

Panel is loaded with its resources inline, so that no host ever asks a network for anything.

    MODULE          the browser half of every widget, as one JavaScript module
    prepare         make the running host ready; called by every widget before it is shown
    inline_styles   the style sheets of a widget as text, not as addresses
    Inlined         a column whose parts have theirs so, for a page that is shown already
    Said            words that change, likewise
    IN_THE_DARK     a style sheet for pictures: light on dark where JupyterLab's theme is dark
    serve           a widget as a page of its own, to this machine alone
"""

import os
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

import panel as pn
from bokeh.models import ImportedStyleSheet
from panel.io.notebook import patch_inline_stylesheets, replace_inline_css

from emgreview.errors import ParameterError
from emgreview.views.doors import Doors, Invitation

MODULE = Path(__file__).with_name("bundle.js").read_text("utf-8")
"""Made of the modules in js/ by tests/js/bundle.py. A widget's setup says by ``screen`` which screen is shown."""

IN_THE_DARK = ':host-context([data-jp-theme-light="false"]) { filter: invert(0.93) hue-rotate(180deg); }'
"""A picture on white keeps its hues, its ground becomes that of the page; browsers that do not know the selector leave
it as it is."""

_WIDGETS_ONLY = ("voila",)
"""Servers whose pages speak ipywidgets alone, by the name they put into SERVER_SOFTWARE of their kernels."""


def prepare() -> None:
    """Load Panel into the running host: inline, and through ipywidgets where the host knows nothing else."""
    software = os.environ.get("SERVER_SOFTWARE", "").lower()
    if software.startswith(_WIDGETS_ONLY):
        pn.extension(inline=True, comms="ipywidgets")
    else:
        pn.extension(inline=True)


def serve(
    component: Any,
    *,
    port: int = 0,
    open_browser: bool = True,
    ready: Callable[[str], object] = print,
    title: str = "Review",
) -> None:
    """Serve a widget on 127.0.0.1 until Ctrl-C. Its address, which ``ready`` is told, holds a random word, so that
    other users of this machine cannot guess it; the browser is told it by a file that nobody else can read (doors.py).
    Sessions are signed: none can be invented. ``port`` 0 takes a free one. Raises ParameterError for a taken port."""
    word = secrets.token_urlsafe(16)
    try:
        server = pn.serve(
            {word: component},
            address="127.0.0.1",
            port=port,
            show=False,
            start=False,
            verbose=False,
            title=title,
            use_index=False,
            redirect_root=False,
            sign_sessions=True,
            secret_key=secrets.token_bytes(32),
        )
    except OSError as error:
        raise ParameterError(f"port {port} cannot be used ({error}); give another, or 0 for a free one.") from None
    address = f"http://127.0.0.1:{server.port}/{word}"
    invitation = Invitation(address) if open_browser else None

    def entered(path: str) -> None:
        if invitation and path == f"/{word}":
            invitation.take_away()

    server._http.request_callback = Doors(server._tornado, server.port, entered)
    try:
        ready(address)
        if invitation:
            server.io_loop.add_callback(invitation.hand_over)
        server.start()
        server.io_loop.start()
    except KeyboardInterrupt:
        pass
    finally:
        if invitation:
            invitation.take_away()
        server.stop()


class Inlined(pn.Column):
    """A column that asks nothing of any network where it is put into a page that is shown already."""

    def _get_model(self, doc: Any, root: Any = None, parent: Any = None, comm: Any = None) -> Any:
        model = super()._get_model(doc, root, parent, comm)
        inline_styles(model)
        return model


class Said(pn.pane.HTML):
    """Words that change while the page is shown: Panel sends their style sheets anew with them, as addresses."""

    def _get_properties(self, doc: Any) -> dict[str, Any]:
        properties: dict[str, Any] = super()._get_properties(doc)
        sheets = properties.get("stylesheets", [])
        as_text = [replace_inline_css(one) if isinstance(one, ImportedStyleSheet) else one for one in sheets]
        return properties | {"stylesheets": as_text}


def inline_styles(root: Any) -> None:
    """Put the text of every style sheet into the models themselves, where they would name an address for it."""
    for model in root.references():
        if hasattr(model, "stylesheets"):
            patch_inline_stylesheets(model)
