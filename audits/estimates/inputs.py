"""What estimating refuses, each with a sentence for the field."""

from audits.errors import InvalidInput
from audits.messages import Message, say
from audits.sampling.inputs import TypedNumber, is_count, require_count


def require_sample(
    count: int,
    total: int,
    *,
    count_field: str = "count",
    total_field: str = "total",
    least_total: int = 0,
) -> None:
    """
    Refuse a sample that cannot be: too small, or with more hits than trees.

    Parameters
    ----------
    count : int
        Trees with the property.
    total : int
        Trees in the sample.
    count_field, total_field : str, optional
        Names of the fields, for the person who typed them.
    least_total : int, optional
        The smallest sample allowed.

    Raises
    ------
    InvalidInput
        If one of them is no whole number or lies outside its range.
    """
    require_count(total_field, total, least_total)
    if not is_count(count, 0) or count > total:
        raise InvalidInput({count_field: not_between(count, 0, total)})


def require_confidence(confidence: float) -> None:
    """
    Refuse a confidence outside (0, 1).

    Parameters
    ----------
    confidence : float
        What is to be checked.

    Raises
    ------
    InvalidInput
        If it lies outside (0, 1) or is not a number.
    """
    if not 0 < confidence < 1:
        raise InvalidInput(
            {
                "confidence": say(
                    "A confidence lies above 0 and below 1; %(value)s does not.",
                    value=TypedNumber(confidence),
                )
            }
        )


def require_inner_fraction(field: str, value: float) -> None:
    """
    Refuse a fraction that is not strictly between none and all.

    Parameters
    ----------
    field : str
        Name of the field, for the person who typed it.
    value : float
        What is to be checked.

    Raises
    ------
    InvalidInput
        If it lies outside (0, 1) or is not a number.
    """
    if not 0 < value < 1:
        raise InvalidInput(
            {
                field: say(
                    "This fraction lies above 0 and below 1; %(value)s does not.",
                    value=TypedNumber(value),
                )
            }
        )


def not_between(value: float, least: int, most: int) -> Message:
    """
    Say that a count lies outside its range.

    Parameters
    ----------
    value : float
        The value refused.
    least, most : int
        The smallest and the largest number allowed.

    Returns
    -------
    Message
        The sentence for the field.
    """
    return say(
        "This must be a whole number from %(least)s to %(most)s; it is %(value)s.",
        least=least,
        most=most,
        value=TypedNumber(value),
    )
