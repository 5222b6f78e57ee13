"""A restart that was asked for is no lost link, whoever polls meanwhile (the owner always does)."""

import threading

from rodbench.clock import WallClock
from rodbench.emulator.plant_file import default_machine
from rodbench.emulator.serve import Served, TcpDoor
from rodbench.errors import RodbenchError
from rodbench.link.client import Client
from rodbench.link.transport import TcpTransport

from tests import boards


def test_who_polls_during_a_restart_is_not_told_of_a_lost_link() -> None:
    served = Served(boards.make(default_machine()), TcpDoor(0))
    host, port = served.door.address.split(":")[1:]
    client = Client(TcpTransport(host, int(port)), WallClock())
    told: list[RodbenchError] = []
    ending = threading.Event()

    def poll() -> None:
        while not ending.is_set():
            try:
                client.poll_raw(0.02)
            except RodbenchError as error:
                told.append(error)

    poller = threading.Thread(target=poll)
    poller.start()
    for _ in range(3):
        client.restart()
        client.request("digests")
    ending.set()
    poller.join()
    client.close()
    served.close()
    assert told == []


def test_a_restart_that_nobody_asked_for_is_told() -> None:
    served = Served(boards.make(default_machine()), TcpDoor(0))
    host, port = served.door.address.split(":")[1:]
    client = Client(TcpTransport(host, int(port)), WallClock())
    served.paced.reset("external")
    told = ""
    try:
        for _ in range(100):
            client.poll_raw(0.02)
    except RodbenchError as error:
        told = error.message
    client.close()
    served.close()
    assert "started anew" in told
