"""Judges parts in several processes: the process that reads the catalogue hands out self-contained parts.

This also judges rows that are not committed yet, which no other process could read. Findings come in the order of the
parts. If a process fails or dies, the error is raised here, so a failure never looks like a clean verdict.
"""

import gc
import multiprocessing
import os
import signal
import traceback
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from queue import SimpleQueue
from threading import Thread

from app.rules.batches import FamiliesBatch, TableBatch
from app.rules.finding import Finding
from app.rules.judge import Judge

ALONE = 60_000  # rows that are judged here before other processes are started; starting one takes a second
MOST = 2  # processes besides this one, 70 MiB each: with more, a check of 2,000,000 statements takes over 256 MB
AHEAD = 2  # parts queued for a process, so that it does not wait for the next
SELDOM = 50_000  # allocations between two garbage collections: a part leaves no cycles to collect

AnyPart = TableBatch | FamiliesBatch
Told = tuple[int, list[Finding], str | None]  # the number of a part, its findings, and why it could not be judged


class JudgingFailed(RuntimeError):
    """A judging process failed or died, so the verdict is not known."""


@dataclass(slots=True)
class _Worker:
    """A judging process, and how many parts are queued for it."""

    process: SpawnProcess
    connection: Connection
    in_hand: int = 0

    def send(self, number: int, part: AnyPart) -> None:
        try:
            self.connection.send((number, part))
        except OSError as error:
            raise self._gone() from error
        self.in_hand += 1

    def receive(self) -> tuple[int, list[Finding]]:
        try:
            number, found, failure = self.connection.recv()
        except (EOFError, OSError) as error:
            raise self._gone() from error
        if failure is not None:
            raise JudgingFailed(f"a judging process failed: {failure}")
        self.in_hand -= 1
        return number, found

    def _gone(self) -> JudgingFailed:
        self.process.join(5)
        return JudgingFailed(f"a judging process died (exit code {self.process.exitcode})")


@dataclass(slots=True)
class _Workers:
    each: list[_Worker]
    found: dict[int, list[Finding]] = field(default_factory=dict)  # results that cannot be yielded yet, by number
    told: int = 0

    def idlest(self) -> _Worker:
        """The process with the shortest queue, once one has room for more."""
        while (idlest := min(self.each, key=lambda each: each.in_hand)).in_hand >= AHEAD:
            self.collect()
        return idlest

    def collect(self) -> None:
        """Wait for the next result of any process."""
        busy = {each.connection: each for each in self.each if each.in_hand}
        for connection in wait(list(busy)):
            number, found = busy[connection].receive()  # type: ignore[index]
            self.found[number] = found

    def ready(self) -> Iterator[Finding]:
        """The findings of all parts up to the first unfinished one."""
        while self.told in self.found:
            yield from self.found.pop(self.told)
            self.told += 1


def processes() -> int:
    """The number of processes for a large catalogue: one for each available core, up to MOST."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, MOST)


def judge_apart(
    parts: Iterator[AnyPart], today: date, count: int | None = None, alone: int = ALONE
) -> Iterator[Finding]:
    """The findings of parts, in order. The first `alone` rows are judged here, or all of them if `count` is one.

    Raises JudgingFailed if a process fails.
    """
    judge = Judge(today)
    count = processes() if count is None else count
    rows = 0
    for part in parts:
        yield from judge.parts([part])
        rows += len(part.rows) if isinstance(part, TableBatch) else sum(map(len, part.own.values()))
        if rows >= alone and count > 1:
            break
    else:
        return
    workers = _Workers([_started(today) for _ in range(count)])
    try:
        for number, part in enumerate(parts):
            workers.idlest().send(number, part)
            yield from workers.ready()
        while any(each.in_hand for each in workers.each):
            workers.collect()
            yield from workers.ready()
    finally:
        for each in workers.each:
            each.connection.close()
            each.process.terminate()
        for each in workers.each:
            each.process.join()


def _started(today: date) -> _Worker:
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=_work, args=(there, today), daemon=True)
    process.start()
    there.close()
    return _Worker(process, here)


def _work(connection: Connection, today: date) -> None:
    """The loop of a judging process, until its parent closes the connection or dies."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # only the parent handles Ctrl-C
    parts: SimpleQueue[tuple[int, AnyPart]] = SimpleQueue()
    Thread(target=_take, args=(connection, parts), daemon=True).start()
    gc.freeze()
    gc.set_threshold(SELDOM)
    judge = Judge(today)
    while True:
        number, part = parts.get()
        try:
            told: Told = (number, list(judge.parts([part])), None)
        except Exception:
            told = (number, [], traceback.format_exc())
        with suppress(OSError):  # the other end is closed: `_take` ends this process
            connection.send(told)


def _take(connection: Connection, parts: "SimpleQueue[tuple[int, AnyPart]]") -> None:
    """Accept parts as they arrive, so that the sender does not wait; end the process when there are no more."""
    with suppress(EOFError, OSError):
        while True:
            parts.put(connection.recv())
    os._exit(0)
