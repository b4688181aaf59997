"""Plays the invented ward's day into an engine and a record server, and tells whether all came out as it should.

What should come is in ward/day.json: the answer to each send, where each session ends, and how many readings of each
code a person with the documents and a pencil would count. What is there is asked of the record server by search.
"""
import argparse
import collections
import json
import pathlib
import signal
import sys
import tempfile
import time

import stage

FINAL = ("landed", "held")


class Day:
    def __init__(self):
        listed = json.loads((stage.WARD / "day.json").read_text(encoding="utf-8"))
        self.readings = listed["readings"]
        self.sends = listed["sends"]
        for send in self.sends:
            send["document"] = json.loads((stage.WARD / "sends" / send["file"]).read_text(encoding="utf-8"))

    def accepted(self):
        return [send for send in self.sends if send["answer"] == 202]

    def fates(self):
        """session -> (state, reason) at the end of the day."""
        return {send["session"]: (send["then"], send.get("reason")) for send in self.accepted()}


def send_all(day, engine, pace):
    """Sends in the day's order; the problems, and the id that the engine gave each session."""
    problems, ids = [], {}
    for send in day.sends:
        answer = engine.send(send["document"])
        if answer.status != send["answer"]:
            problems.append(f"{send['file']}: answered {answer.status}, {send['answer']} expected: "
                            f"{answer.body[:400]!r}")
        elif answer.status == 202:
            ids[send["session"]] = engine.session_id(answer)
        time.sleep(pace)
    return problems, ids


def settle(day, engine, ids):
    """Waits until every session has come to where it ends; the problems, and the final state of each."""
    problems, states = [], {}
    for session, (expected, reason) in day.fates().items():
        if session not in ids:
            continue
        state, why = stage.wait_for(f"{session} is settled",
                                    lambda s=session: engine.settled(ids[s], FINAL), seconds=60)
        states[session] = state
        if (state, why) != (expected, reason):
            problems.append(f"{session}: {state} ({why}), {expected} ({reason}) expected")
    return problems, states


def check_chart(day, server):
    """What the record server holds against what the documents say. Problems, counts by type, duplicates."""
    problems = []
    people = json.loads((stage.WARD / "people.bundle.json").read_text(encoding="utf-8"))
    before = collections.Counter(entry["resource"]["resourceType"] for entry in people["entry"])
    counts = {kind: number for kind, number in server.counters()["resources"].items()}
    for kind, number in before.items():
        if counts.get(kind) != number:
            problems.append(f"{kind}: {counts.get(kind)} on the server, {number} were there before the day")

    # Every resource that the pure function makes of what landed is there once, and nothing else is.
    landed = [send for send in day.accepted() if send["then"] == "landed"]
    wanted = set()
    for send, answer in zip(landed, stage.pure([send["document"] for send in landed])):
        if "bundle" not in answer:
            problems.append(f"{send['file']}: the pure function gives no bundle: {json.dumps(answer)[:400]}")
        wanted |= stage.identifiers_of(answer.get("bundle", {}))
    found = collections.Counter()
    for kind in sorted({kind for kind, _, _ in wanted}):
        for resource in server.all(kind):
            for identifier in resource.get("identifier", []):
                found[kind, identifier.get("system"), identifier.get("value")] += 1
    duplicates = sum(number - 1 for number in found.values())
    missing, strange = wanted - set(found), set(found) - wanted
    for what, some in (("not in the chart", missing), ("in the chart and not asked for", strange)):
        if some:
            problems.append(f"{len(some)} resources {what}, for example {sorted(some, key=str)[0]}")

    for code, number in day.readings.items():
        there = server.count("Observation", code=code, **{"derived-from:missing": "true"})
        if there != number:
            problems.append(f"{code}: {there} readings in the chart, {number} in the documents")
    return problems, counts, duplicates


def report(day, engine, server, ids, problems):
    settled_problems, states = settle(day, engine, ids)
    chart_problems, counts, duplicates = check_chart(day, server)
    verified, said = engine.verify_replay()
    problems = problems + settled_problems + chart_problems
    if duplicates:
        problems.append(f"{duplicates} duplicates")
    if not verified:
        problems.append(f"replay --verify: {said}")
    held = [session for session, state in states.items() if state == "held"]
    return problems, {
        "sessions": len(states),
        "landed": sum(state == "landed" for state in states.values()),
        "held": len(held),
        "resources": counts,
        "duplicates": duplicates,
        "replayVerified": verified,
    }


def show_and_stay(engine, server):
    print(f"\nThe page:          http://127.0.0.1:{engine.port}/\n"
          f"The engine's API:  http://127.0.0.1:{engine.port}/sessions\n"
          f"The record server: {server.base}\n\n"
          "The day is being sent; two sessions stay held, with their reasons. Ctrl-C ends everything.\n", flush=True)


def main():
    parser = argparse.ArgumentParser(description="Plays the invented ward's day.")
    parser.add_argument("--headless", action="store_true", help="do not stay; print one JSON object last")
    options = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    with tempfile.TemporaryDirectory(prefix="chartferry-demo-") as folder:
        folder = pathlib.Path(folder)
        with stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"]) as server, \
                stage.Engine(folder) as engine:
            server.start()
            engine.start(server.base, "--ward", stage.WARD / "ward.json")
            if not options.headless:
                show_and_stay(engine, server)
            day = Day()
            problems, ids = send_all(day, engine, 0 if options.headless else 0.3)
            problems, summary = report(day, engine, server, ids, problems)
            for problem in problems:
                print(problem, file=sys.stderr)
            print(json.dumps(summary), flush=True)
            if not options.headless:
                while True:
                    time.sleep(3600)
    return 1 if problems else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit(0)
    except stage.Failure as failure:
        print(failure, file=sys.stderr)
        sys.exit(1)
