"""The blueprint that the views of learning share."""

from flask import Blueprint

blueprint = Blueprint("learn", __name__, url_prefix="/learn")
