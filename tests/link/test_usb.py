"""Bridges without a port, from trees of fake files: no real USB bridge was tried."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from rodbench.link import holders, usb


def device(sys: Path, name: str, vendor: str, product: str) -> Path:
    """A USB device with its numbers, as sysfs shows it."""
    folder = sys / "bus/usb/devices" / name
    folder.mkdir(parents=True)
    for file, text in (("idVendor", vendor), ("idProduct", product), ("product", "USB Serial")):
        (folder / file).write_text(text + "\n")
    return folder


def interface(device: Path, number: int, kind: str = "ff", driver: str | None = None) -> Path:
    """One interface of a device, with the driver that has it."""
    folder = device.with_name(f"{device.name}:1.{number}")
    folder.mkdir()
    (folder / "bInterfaceClass").write_text(kind + "\n")
    (folder / "bInterfaceSubClass").write_text("02\n")
    if driver:
        home = device.parents[2] / "usb/drivers" / driver
        home.mkdir(parents=True, exist_ok=True)
        (folder / "driver").symlink_to(home)
    return folder


def test_a_bridge_that_nobody_serves_names_its_driver(tmp_path: Path) -> None:
    interface(device(tmp_path, "1-2", "1a86", "7523"), 0)
    (found,) = usb.portless(tmp_path)
    assert (found.vendor, found.product, found.driver) == (0x1A86, 0x7523, "ch341")
    assert "ch341 is not loaded" in found.why
    assert "modprobe ch341" in found.hint


def test_a_bridge_taken_by_a_program_says_so(tmp_path: Path) -> None:
    interface(device(tmp_path, "1-2", "10c4", "ea60"), 0, driver="usbfs")
    (found,) = usb.portless(tmp_path)
    assert found.why == "usbfs has it in place of cp210x"
    assert "End it" in found.hint


@pytest.mark.parametrize("place", ["ttyUSB0", "tty/ttyACM0"])
def test_a_bridge_with_a_port_is_no_finding(tmp_path: Path, place: str) -> None:
    port = interface(device(tmp_path, "1-2", "0403", "6001"), 0, driver="ftdi_sio") / place
    port.mkdir(parents=True)
    assert usb.portless(tmp_path) == []


def test_the_communications_class_is_known_by_itself(tmp_path: Path) -> None:
    board = device(tmp_path, "3-1.4", "1234", "0001")
    interface(board, 0, kind="02")
    interface(board, 1, kind="0a")
    (found,) = usb.portless(tmp_path)
    assert found.driver == "cdc_acm"


def test_a_mouse_is_no_bridge_and_no_sysfs_is_no_error(tmp_path: Path) -> None:
    interface(device(tmp_path, "1-1", "046d", "c077"), 0, kind="03", driver="usbhid")
    (tmp_path / "bus/usb/devices/usb1").mkdir()
    assert usb.portless(tmp_path) == []
    assert usb.portless(tmp_path / "none") == []


def test_the_modem_manager_is_seen_by_the_name_of_its_process(tmp_path: Path) -> None:
    (tmp_path / "7").mkdir()
    (tmp_path / "7/comm").write_text("sh\n")
    assert not holders.modem_manager(tmp_path)
    (tmp_path / "812").mkdir()
    (tmp_path / "812/comm").write_text("ModemManager\n")
    assert holders.modem_manager(tmp_path)


def test_the_line_for_udev_names_the_bridge(tmp_path: Path) -> None:
    port = tmp_path / "ttyUSB0"
    port.touch(0o600)
    assert 'ATTRS{idVendor}=="1a86"' in holders.permission_hint(port, (0x1A86, 0x7523))
    assert 'KERNEL=="ttyUSB*|ttyACM*"' in holders.permission_hint(port)
    assert 'ID_MM_DEVICE_IGNORE}="1"' in holders.modem_line((0x1A86, 0x7523))


def test_who_was_put_into_the_group_since_is_told_to_log_in_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import grp
    import pwd
    from types import SimpleNamespace

    port = tmp_path / "ttyUSB0"
    port.touch()
    port.chmod(0o660)
    me = pwd.getpwuid(os.getuid()).pw_name
    members: list[str] = []
    group = SimpleNamespace(gr_name="dialout", gr_mem=members)
    monkeypatch.setattr(grp, "getgrgid", lambda number: group)
    assert "usermod -aG dialout" in holders.permission_hint(port)
    members.append(me)
    hint = holders.permission_hint(port)
    assert "usermod" not in hint
    assert "log in again" in hint
