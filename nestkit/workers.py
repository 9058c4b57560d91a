"""Worker processes behind the standard executor interface; one that is lost takes its own task with it.

`concurrent.futures.ProcessPoolExecutor` gives up all its tasks when one of its processes dies. Here each
process has a thread and a pipe of its own, and is replaced when it is gone.
"""

from __future__ import annotations

import multiprocessing
import os
import queue
import signal
import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from typing import Any

from nestkit.memory import look_rarely
from nestkit.telling import listen

Heard = Callable[["Future[Any]", str], None]


class WorkerLostError(RuntimeError):
    """A worker process ended in the middle of its task."""


class Workers(Executor):
    """Runs tasks in so many processes.

    Parameters
    ----------
    count : int
    heard : callable, optional
        Given a task's future and what its process says about it, from another thread.
    """

    def __init__(self, count: int, heard: Heard | None = None) -> None:
        if count < 1:
            raise ValueError("at least one worker is needed")
        self._heard = heard
        self._waiting: queue.SimpleQueue[tuple[Future[Any], Callable[..., Any], Any, Any] | None]
        self._waiting = queue.SimpleQueue()
        self._children: dict[int, Any] = {}
        self._closed = threading.Event()
        self._ending = False
        self._context = multiprocessing.get_context("spawn")
        self._stop = self._context.Event()
        self._lock = threading.Lock()
        self._threads = [threading.Thread(target=self._serve, args=(k,), daemon=True) for k in range(count)]
        for thread in self._threads:
            thread.start()

    @property
    def processes(self) -> tuple[int, ...]:
        """Ids of the processes that are there at the moment."""
        with self._lock:
            return tuple(child.pid for child in self._children.values() if child.is_alive())

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """See `concurrent.futures.Executor.submit`; a lost process is a `WorkerLostError`."""
        if self._closed.is_set():
            raise RuntimeError("the workers are closed")
        future: Future[Any] = Future()
        self._waiting.put((future, fn, args, kwargs))
        return future

    def ask_to_stop(self) -> None:
        """Tells the tasks to end with what they have; see `telling.is_asked_to_stop`."""
        self._stop.set()

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Ends the workers; with ``cancel_futures`` at once, whatever they are doing."""
        self._closed.set()
        if cancel_futures:
            while True:
                try:
                    task = self._waiting.get_nowait()
                except queue.Empty:
                    break
                if task is not None:
                    task[0].cancel()
            with self._lock:
                self._ending = True
                for child in self._children.values():
                    child.terminate()
        for _ in self._threads:
            self._waiting.put(None)
        if wait:
            for thread in self._threads:
                thread.join()

    def _serve(self, place: int) -> None:
        """A thread's life: it hands tasks to its process and waits for the answers."""
        pipe: Connection | None = None
        while (task := self._waiting.get()) is not None:
            future, fn, args, kwargs = task
            if not future.set_running_or_notify_cancel():
                continue
            try:
                if pipe is None:
                    pipe = self._start(place)
                pipe.send((fn, args, kwargs))
                kind, value = self._answer(pipe, future)
            except (EOFError, OSError):
                future.set_exception(WorkerLostError(self._bury(place)))
                pipe = None
                continue
            except Exception as error:  # what can't be sent is the task's fault, not the worker's
                future.set_exception(error)
                continue
            if kind == "done":
                future.set_result(value)
            else:
                future.set_exception(value)
        if pipe is not None:
            pipe.close()
            self._bury(place)

    def _answer(self, pipe: Connection, future: Future[Any]) -> tuple[str, Any]:
        while True:
            kind, value = pipe.recv()
            if kind != "note":
                return kind, value
            if self._heard is not None:
                self._heard(future, value)

    def _start(self, place: int) -> Connection:
        ours, theirs = self._context.Pipe()
        child = self._context.Process(target=_work, args=(theirs, self._stop), daemon=True)
        with self._lock:
            if self._ending:
                raise EOFError
            child.start()
            self._children[place] = child
        theirs.close()
        return ours

    def _bury(self, place: int) -> str:
        """Waits for a process that is gone or about to go; how it ended."""
        with self._lock:
            child = self._children.pop(place, None)
        if child is None:
            return "no worker could be started"
        child.join(10.0)
        if child.is_alive():
            child.kill()
            child.join()
        code = child.exitcode or 0
        how = f"ended by signal {-code}" if code < 0 else f"ended with code {code}"
        return f"its worker process was {how}"


def _work(pipe: Connection, stop: Event) -> None:
    """A process's life: tasks in, answers out, until the pipe is closed."""
    # Ctrl-C goes to the whole terminal group; the parent decides what becomes of a task.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    look_rarely()
    listen(lambda note: pipe.send(("note", note)), stop.is_set)
    while True:
        try:
            fn, args, kwargs = pipe.recv()
        except (EOFError, OSError):
            os._exit(0)
        try:
            answer = ("done", fn(*args, **kwargs))
        except Exception as error:
            answer = ("failed", error)
        try:
            pipe.send(answer)
        except (OSError, BrokenPipeError):
            os._exit(0)
        except Exception as error:  # an answer that can't be sent
            pipe.send(("failed", RuntimeError(f"{type(error).__name__}: {error}")))
