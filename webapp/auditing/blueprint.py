"""The blueprint that the area's views are registered on."""

from flask import Blueprint

blueprint = Blueprint("auditing", __name__)
