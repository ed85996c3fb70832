"""The blueprint of the print desk; its views stand in the modules that import it."""

from flask import Blueprint

blueprint = Blueprint("printing", __name__, url_prefix="/print")
