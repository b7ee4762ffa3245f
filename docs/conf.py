"""How Sphinx makes pages of this folder: `sphinx-build -W docs out/site`."""

import re

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml

import thermsim

project = "thermsim"
version = release = thermsim.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
myst_enable_extensions = ["dollarmath"]
myst_heading_anchors = 3
html_math_renderer = "mathml"
html_theme = "furo"
html_title = "thermsim"
html_static_path = ["_static"]
html_css_files = ["pages.css"]
html_show_sphinx = html_show_copyright = False
html_copy_source = False
default_role = "code"  # a word in single backticks is code, in docstrings as in pages
autodoc_typehints = "signature"
autodoc_preserve_defaults = True
autodoc_member_order = "bysource"
autodoc_default_options = {"members": True}
napoleon_google_docstring = False


def _name_above_words(app, what, name, obj, options, lines):
    """Docstrings write `name : words`; numpydoc, for which a type stands there, wants the words on a line below."""
    found = []
    for line in lines:
        entry = re.match(r"(\*{0,2}\w[\w, `]*) : (.+)", line)
        found += [entry[1], f"    {entry[2]}"] if entry else [line]
    lines[:] = found


def _formula(translator, node):
    """Formulas as MathML, which browsers draw by themselves: nothing is fetched from a network."""
    is_block = isinstance(node, nodes.math_block)
    formula = tex2mathml(node.astext(), as_block=is_block)
    translator.body.append(f'<div class="math">{formula}</div>' if is_block else formula)
    raise nodes.SkipNode


def setup(app):
    app.connect("autodoc-process-docstring", _name_above_words, priority=100)
    app.add_html_math_renderer("mathml", inline_renderers=(_formula, None), block_renderers=(_formula, None))
