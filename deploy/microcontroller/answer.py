"""What the server answers to a report, read with suspicion: a captive portal answers 200, too."""

from clock import seconds_of

REPORT_EVERY_MAX = 3_600_000  # ms, whatever a server requests
NO_PLAN_FIELD = object()  # nothing to change; None says that there is no plan any more


def checked(answer):
    """The answer with what is used of it. Raises ValueError, KeyError, TypeError."""
    if not isinstance(answer, dict):
        raise TypeError("expected an object as the answer")
    through = answer["storedThrough"]
    if through is not None and (isinstance(through, bool) or not isinstance(through, int)):
        raise TypeError("expected storedThrough as a number or null")
    return {
        "storedThrough": through,
        "serverTime": seconds_of(answer["serverTime"]),
        "next_ms": max(1_000, min(int(answer["nextReportSeconds"] * 1000), REPORT_EVERY_MAX)),
        "refused": {one.get("seq"): one.get("problem") for one in objects(answer.get("refused"))},
        "orders": readable_orders(answer["orders"]),
        "plan": answer.get("plan", NO_PLAN_FIELD),
    }


def what_counts(frame, now):
    """(orders, plan) of what waited at a broker, which keeps it also when the server is gone and can't take it back. `now`: epoch seconds."""
    try:
        if seconds_of(frame["until"]) <= now:
            raise ValueError("it counted until %s" % frame["until"])
        return readable_orders(frame.get("orders")), frame.get("plan", NO_PLAN_FIELD)
    except (ValueError, TypeError) as error:
        print("What waits at the broker is left out:", error)
        return [], NO_PLAN_FIELD


def readable_orders(value):
    return [readable_order(one) for one in objects(value) if is_id(one.get("id"))]


def objects(value):
    if value is not None and not isinstance(value, list):
        raise TypeError("expected a list")
    return [one for one in value or [] if isinstance(one, dict)]


def is_id(name):
    """Without an id an order can't be answered."""
    return isinstance(name, str) and 0 < len(name) <= 64


def readable_order(order):
    """A pause whose end can't be read lasts until resumed."""
    try:
        until = None if order.get("until") is None else seconds_of(order["until"])
    except ValueError:
        until = None
    return {"id": order["id"], "kind": str(order.get("kind"))[:40], "until": until}
