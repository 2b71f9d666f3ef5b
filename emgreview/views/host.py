"""Where the widgets run: a notebook, a served page, or a host that knows ipywidgets alone.

Panel is loaded with its resources inline, so that no host ever asks a network for anything.

    prepare         make the running host ready; called by every widget before it is shown
    as_ipywidget    a widget wrapped for ipywidgets layouts
"""

import os
from typing import Any

import panel as pn
from panel.io.notebook import patch_inline_stylesheets
from panel.io.resources import set_resource_mode

_WIDGETS_ONLY = ("voila",)
"""Servers whose pages speak ipywidgets alone, by the name they put into SERVER_SOFTWARE of their kernels."""


def prepare() -> None:
    """Load Panel into the running host: inline, and through ipywidgets where the host knows nothing else."""
    software = os.environ.get("SERVER_SOFTWARE", "").lower()
    if software.startswith(_WIDGETS_ONLY):
        pn.extension(inline=True, comms="ipywidgets")
    else:
        pn.extension(inline=True)


def as_ipywidget(component: Any) -> Any:
    """The component as an ipywidget, with every style sheet inline."""
    component._preprocessing_hooks = [*component._preprocessing_hooks, _inline_styles]
    with set_resource_mode("inline"):
        return pn.ipywidget(component)


def _inline_styles(component: Any, root: Any) -> None:
    for model in root.references():
        if hasattr(model, "stylesheets"):
            patch_inline_stylesheets(model)
