"""Polls loops slot by slot with SimPy: an outside judge of response times.

Written from the description of the line alone (DEVELOPERS.md, rules B and C), with nothing
of the Go code in it. Reads a JSON list of cases from standard input and prints a JSON list of
what each loop's controller found, in integer nanoseconds.

A case: {"horizon", "decision_time", "loops": [...], "outputs": [[loop, address], ...]}.
A loop: {"poll", "no_reply", "command", "missed", "burst", "out_of_turn", "probe", "devices"}.
A device: {"address", "readings" (0: no fire input), "active": [[from, until], ...], "removed"}.
Program: the first fire anywhere turns the outputs on, in the order of the list.

The clock counts quarters of a nanosecond, so that the parts of an instant stand apart: what
people do (0), slots that end (1), the program (2), slots that begin (3).
"""

import json
import sys

import simpy

ENDS, PROGRAM, BEGINS = 1, 2, 3


class Device:
    def __init__(self, spec):
        self.address = spec["address"]
        self.readings = spec["readings"]
        self.spells = spec["active"]
        self.removed = spec["removed"]
        self.count = 0
        self.misses = 0
        self.signalled = False
        self.missing = False
        self.sampled_at = -1

    def there(self, t):
        return self.removed is None or t < self.removed

    def active(self, t):
        return any(start <= t < stop for start, stop in self.spells)

    def asks(self, t):
        """Active, able to answer, and not sampled since it became so."""
        if not self.there(t):
            return False
        return any(start <= t < stop and self.sampled_at < start for start, stop in self.spells)


class Site:
    def __init__(self, case):
        self.env = simpy.Environment(initial_time=BEGINS)
        self.decision_time = case["decision_time"]
        self.outputs = case["outputs"]
        self.loops = [Loop(self, n, spec) for n, spec in enumerate(case["loops"])]
        self.fire = False
        self.found = []
        for loop in self.loops:
            if loop.devices:
                self.env.process(loop.poll())
        self.env.run(until=4 * case["horizon"] + 4)
        self.found.sort()

    def note(self, what, loop, device):
        self.found.append([what, loop.number, device.address, self.env.now // 4])

    def decide(self, loop, device):
        yield self.env.timeout(4 * self.decision_time + PROGRAM - ENDS)
        self.note("fire", loop, device)
        if not self.fire:
            self.fire = True
            for number, address in self.outputs:
                target = self.loops[number]
                target.queue.append(next(d for d in target.devices if d.address == address))


class Loop:
    def __init__(self, site, number, spec):
        self.site = site
        self.number = number
        self.spec = spec
        self.devices = sorted((Device(d) for d in spec["devices"]), key=lambda d: d.address)
        self.queue = []

    def poll(self):
        """The controller: one slot after another, for ever."""
        env, spec = self.site.env, self.spec
        turns = list(self.devices)
        if spec["probe"]:
            turns.append(None)
        turn, commands, asked = 0, 0, None
        while True:
            now = env.now // 4
            if self.queue and commands < spec["burst"]:
                commands += 1
                yield env.process(self.command(self.queue.pop(0), now))
            else:
                commands = 0
                if asked is not None:
                    device, asked, in_turn = asked, None, False
                else:
                    device, in_turn = turns[turn], True
                    turn = (turn + 1) % len(turns)
                yield env.process(self.visit(device, now))
                if in_turn and spec["out_of_turn"]:
                    end = env.now // 4
                    asked = next((d for d in self.devices if d.asks(end)), None)
            yield env.timeout(BEGINS - ENDS)

    def slot(self, length):
        return self.site.env.timeout(4 * length + ENDS - BEGINS)

    def command(self, device, now):
        heard = device.there(now)
        yield self.slot(self.spec["command"])
        if heard and device.there(self.site.env.now // 4):
            self.site.note("operated", self, device)

    def visit(self, device, now):
        if device is None or not device.there(now):
            yield self.slot(self.spec["no_reply"])
            if device is not None:
                device.misses += 1
                if device.misses >= self.spec["missed"] and not device.missing:
                    device.missing = True
                    self.site.note("missing", self, device)
            return
        active = device.active(now)
        device.sampled_at = now
        yield self.slot(self.spec["poll"])
        device.misses = 0
        if device.readings == 0 or device.signalled:
            return
        device.count = device.count + 1 if active else 0
        if device.count == device.readings:
            device.signalled = True
            self.site.note("signal", self, device)
            self.site.env.process(self.site.decide(self, device))


json.dump([Site(case).found for case in json.load(sys.stdin)], sys.stdout)
