"""The field area: the page in the row, what a phone takes along, and what it sends back."""

from flask import Blueprint

blueprint = Blueprint("field", __name__)
