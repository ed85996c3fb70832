"""The practice area: the page that a phone keeps, trees to prune, and what was done with them."""

from flask import Blueprint

blueprint = Blueprint("practice", __name__)
