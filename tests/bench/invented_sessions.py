"""Session documents for the benches: those of the invented ward's morning, each time another session."""
import copy

import stage

NAMES = ("alder", "birch", "cedar", "elm", "hazel", "juniper", "maple", "rowan", "willow")


def documents(prefix, count):
    """Sessions that differ in their identifier only, the patients in turn."""
    first = [stage.sent(f"{name}-breathing-am") for name in NAMES]
    made = []
    for number in range(count):
        document = copy.deepcopy(first[number % len(first)])
        document["identifier"]["value"] = f"{prefix}-{number}"
        made.append(document)
    return made
