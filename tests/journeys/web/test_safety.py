"""What a running workbench refuses: the real server, asked over real sockets, and a browser that looks on."""

import http.client
import io
import json
import re
import socket
import urllib.parse
import zipfile

import pytest

from conftest import accessibility_faults, start_workbench
from support.mesh_files import box, stl_binary

MACHINE = {"machine": "tall", "material": "pla"}
MODEL = "3D/3dmodel.model"
RELATIONS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Target="/{MODEL}" Id="r" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def ask(bench, method="GET", path="/", body=None, **headers):
    """One request, by hand, so that nothing is tidied on the way."""
    place = urllib.parse.urlsplit(bench.url)
    connection = http.client.HTTPConnection(place.hostname, place.port, timeout=60)
    try:
        connection.putrequest(method, path, skip_host="host" in headers, skip_accept_encoding=True)
        for name, value in headers.items():
            connection.putheader(name.replace("_", "-"), value)
        if body is not None:
            connection.putheader("content-length", str(len(body)))
        connection.endheaders(body)
        answer = connection.getresponse()
        return answer.status, answer.headers, answer.read()
    finally:
        connection.close()


def send_files(bench, files, **fields):
    """Files as a browser sends them; answers what became of each."""
    mark = "a-line-between"
    pieces = [
        f'--{mark}\r\ncontent-disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    for name, content in files:
        head = f'--{mark}\r\ncontent-disposition: form-data; name="files"; filename="{name}"\r\n'
        pieces.append(f"{head}content-type: application/octet-stream\r\n\r\n".encode() + content + b"\r\n")
    body = b"".join(pieces) + f"--{mark}--\r\n".encode()
    kind = f"multipart/form-data; boundary={mark}"
    status, _, answer = ask(bench, "POST", "/bench/upload", body, origin=bench.url, content_type=kind)
    return status, json.loads(answer)


@pytest.fixture
def open_order(copy_of_demo):
    """A workbench on a project that leaves the bonding order open: a stated one would miss the new part."""
    document = copy_of_demo / "project.toml"
    text, count = re.subn(r"\norder = \[[^\]]*\]", "", document.read_text(encoding="utf-8"))
    assert count == 1
    document.write_text(text, encoding="utf-8")
    bench = start_workbench(copy_of_demo)
    try:
        bench.wait_until_it_answers()
        yield bench
    finally:
        bench.end()


def cube(size=(40.0, 30.0, 20.0)):
    return stl_binary(*box(size, (0.0, 0.0, 0.0)))


def package(model, relations=RELATIONS):
    """A 3MF archive, deflated."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("_rels/.rels", relations)
        archive.writestr(MODEL, model)
    return out.getvalue()


def files_below(folder):
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def own_address():
    """An address of this machine besides loopback. A datagram socket that is connected sends nothing."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: leads nowhere
        except OSError:
            return None
        address = probe.getsockname()[0]
    return None if address.startswith("127.") or address == "0.0.0.0" else address


# The address


def test_loopback_is_the_default(shared_workbench):
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+", shared_workbench.url)
    address = own_address()
    if address is None:
        pytest.skip("this machine has no address besides loopback")
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((address, urllib.parse.urlsplit(shared_workbench.url).port), timeout=5)


@pytest.mark.parametrize(
    ("share", "words"),
    [
        ("0.0.0.0", "all addresses at once"),
        ("127.0.0.1", "this machine only"),
        ("192.0.2.1", "listening is refused"),
        ("no such name", "is no address"),
    ],
)
def test_an_address_that_cannot_be_shared_is_refused(copy_of_demo, share, words):
    bench = start_workbench(copy_of_demo, "--share", share)
    assert bench.process.wait(30) == 2
    assert words in "\n".join(bench.lines)


def test_sharing_asks_for_the_token_of_the_link_once(copy_of_demo):
    address = own_address()
    if address is None:
        pytest.skip("this machine has no address besides loopback")
    bench = start_workbench(copy_of_demo, "--share", address)
    try:
        link = urllib.parse.urlsplit(bench.link)
        bench.wait_until_it_answers()

        def fetch(path, **headers):
            connection = http.client.HTTPConnection(link.hostname, link.port, timeout=30)
            try:
                connection.request("GET", path, headers=headers)
                answer = connection.getresponse()
                return answer.status, answer.headers, answer.read().decode()
            finally:
                connection.close()

        assert link.hostname == address
        assert fetch("/")[0] == 401
        assert fetch("/_nicegui_ws/socket.io/?EIO=4&transport=polling")[0] == 401
        status, headers, _ = fetch(f"/?{link.query}")
        assert status == 200
        cookie = headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Strict" in cookie
        assert fetch("/", Cookie=cookie.split(";")[0])[0] == 200
        again = fetch(f"/?{link.query}")
        assert again[0] == 403
        assert "has been used" in again[2]
        assert ask(bench)[0] == 200
        assert any("▀" in line or "█" in line for line in bench.lines)
    finally:
        bench.end()


def test_a_taken_port_is_said_and_another_is_found_unasked(shared_workbench, copy_of_demo):
    port = urllib.parse.urlsplit(shared_workbench.url).port
    refused = start_workbench(copy_of_demo, "--port", str(port))
    assert refused.process.wait(30) == 2
    assert f"port {port} is in use" in "\n".join(refused.lines)
    assert "leave --port out" in "\n".join(refused.lines)
    other = start_workbench(copy_of_demo)
    try:
        assert other.url != shared_workbench.url
    finally:
        other.end()


def test_a_folder_without_a_project_is_refused(tmp_path):
    bench = start_workbench(tmp_path)
    assert bench.process.wait(30) == 2
    assert "no project.toml here" in "\n".join(bench.lines)


def test_an_interrupt_ends_it_cleanly(copy_of_demo):
    bench = start_workbench(copy_of_demo)
    bench.wait_until_it_answers()
    assert bench.interrupt() == 0
    assert bench.lines[-1] == "workbench closed"
    assert "Traceback" not in "\n".join(bench.lines)


# Who asks


def test_another_name_for_this_machine_finds_nothing(shared_workbench):
    port = urllib.parse.urlsplit(shared_workbench.url).port
    for host in (f"evil.example:{port}", "evil.example", f"127.0.0.1.evil.example:{port}"):
        assert ask(shared_workbench, host=host)[0] == 403
    assert ask(shared_workbench, host=f"localhost:{port}")[0] == 200


def upgrade(bench, **headers):
    return ask(
        bench,
        path="/_nicegui_ws/socket.io/?EIO=4&transport=websocket",
        connection="Upgrade",
        upgrade="websocket",
        sec_websocket_version="13",
        sec_websocket_key="AAAAAAAAAAAAAAAAAAAAAA==",
        **headers,
    )[0]


def test_a_websocket_from_another_site_is_refused(shared_workbench):
    for origin in ("http://evil.example", "null", "http://127.0.0.1:1"):
        assert upgrade(shared_workbench, origin=origin) == 403
    assert upgrade(shared_workbench) == 403


def test_a_post_from_another_site_is_refused(shared_workbench):
    for headers in ({"origin": "http://evil.example"}, {}):
        assert ask(shared_workbench, "POST", "/bench/upload", b"x", **headers)[0] == 403


def test_every_answer_carries_the_headers_and_no_name_of_the_server(shared_workbench):
    for path in ("/", "/nothing", "/bench/static/sheet.css"):
        headers = ask(shared_workbench, path=path)[1]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["server"] is None


@pytest.mark.parametrize(
    "path",
    [
        "/bench/",
        "/bench/static/",
        "/bench/mesh/",
        "/meshes/",
        "/project.toml",
        "/ledger.db",
        "/../project.toml",
        "/bench/static/../../../pyproject.toml",
        "/bench/static/..%2f..%2fserver.py",
        "/bench/static/%2e%2e/server.py",
        "/%5c..%5cproject.toml",
        "/docs",
        "/openapi.json",
    ],
)
def test_no_folder_is_listed_and_no_path_climbs(shared_workbench, path):
    assert ask(shared_workbench, path=path)[0] in (400, 404)


# What is sent


def test_a_request_that_is_too_large_is_refused_by_its_length_and_by_its_bytes(shared_workbench):
    origin = shared_workbench.url
    status, _, words = ask(shared_workbench, "POST", "/", origin=origin, content_length=str(1 << 40))
    assert status == 413
    assert b"larger than" in words
    status = ask(shared_workbench, "POST", "/bench/upload", origin=origin, content_length=str(3 << 30))[0]
    assert status == 413
    place = urllib.parse.urlsplit(origin)
    with socket.create_connection((place.hostname, place.port), timeout=30) as connection:
        head = f"POST /bench/uploads HTTP/1.1\r\nhost: {place.netloc}\r\norigin: {origin}\r\n"
        connection.sendall(f"{head}transfer-encoding: chunked\r\n\r\n".encode())
        # More than the limit and no end: the answer has to come all the same, or the connection to close.
        try:
            for _ in range(40):
                connection.sendall(b"10000\r\n" + b"x" * 0x10000 + b"\r\n")
        except (BrokenPipeError, ConnectionResetError):
            return
        assert connection.recv(20).startswith((b"HTTP/1.1 413", b"HTTP/1.1 40"))


@pytest.mark.parametrize(
    "name", ["../../escaped.stl", "/etc/escaped.stl", "..\\..\\escaped.stl", "C:\\x\\escaped.stl"]
)
def test_a_name_with_a_path_stays_in_the_project(open_order, name):
    _, answer = send_files(open_order, [(name, cube())], unit="mm", **MACHINE)
    assert [item["state"] for item in answer["files"]] == ["imported"]
    assert answer["files"][0]["report"]["parts"][0]["mesh"] == "meshes/escaped.stl"
    assert (open_order.folder / "meshes/escaped.stl").is_file()
    assert list(open_order.folder.parent.rglob("*escaped*")) == [open_order.folder / "meshes/escaped.stl"]


@pytest.mark.parametrize(
    "name",
    [
        "a\0b.stl",
        "..",
        ".hidden.stl",
        "x" * 300 + ".stl",
        "a\x1b[2Jb.stl",
        "a\u202eb.stl",
        "/",
        "é" * 120 + ".stl",
    ],
)
def test_a_name_that_no_file_should_have_is_refused(shared_workbench, name):
    before = files_below(shared_workbench.folder)
    status, answer = send_files(shared_workbench, [(name, cube())], unit="mm", **MACHINE)
    assert status == 200
    assert answer["files"][0]["state"] == "refused"
    assert "name" in answer["files"][0]["refused"]["what"]
    assert files_below(shared_workbench.folder) == before


def refusal_of(bench, name, content):
    before = files_below(bench.folder)
    document = (bench.folder / "project.toml").read_bytes()
    status, answer = send_files(bench, [(name, content)], **MACHINE)
    assert status == 200
    assert answer["files"][0]["state"] == "refused"
    assert files_below(bench.folder) == before
    assert (bench.folder / "project.toml").read_bytes() == document
    refused = answer["files"][0]["refused"]
    assert "dryfit-" not in refused["where"]
    return refused["what"]


def test_a_zip_bomb_is_refused(shared_workbench):
    bomb = package("<model>" + " " * (64 << 20) + "</model>")
    assert len(bomb) < 100_000
    assert "is not unpacked" in refusal_of(shared_workbench, "bomb.3mf", bomb)


def test_an_xml_bomb_is_refused(shared_workbench):
    entities = "".join(f'<!ENTITY e{n + 1} "{f"&e{n};" * 10}">' for n in range(9))
    bomb = f'<?xml version="1.0"?><!DOCTYPE model [<!ENTITY e0 "ha">{entities}]><model>&e9;</model>'
    assert "document type declaration" in refusal_of(shared_workbench, "bomb.3mf", package(bomb))


def test_an_xml_entity_does_not_read_files(shared_workbench):
    sneak = '<!DOCTYPE model [<!ENTITY e SYSTEM "file:///etc/passwd">]><model>&e;</model>'
    assert "document type declaration" in refusal_of(shared_workbench, "sneak.3mf", package(sneak))


@pytest.mark.parametrize("content", [b"", b"\0" * 5000, b"PK\x03\x04" + b"\0" * 500, b"glTF" + b"\xff" * 400])
def test_rubbish_is_refused(shared_workbench, content):
    assert refusal_of(shared_workbench, "rubbish.3mf", content)


def test_a_broken_form_is_refused_in_words(shared_workbench):
    kind = "multipart/form-data; boundary=never"
    for body, content_type in ((b"nothing of the kind", kind), (b"{}", "application/json"), (b"", kind)):
        status, _, answer = ask(
            shared_workbench,
            "POST",
            "/bench/upload",
            body,
            origin=shared_workbench.url,
            content_type=content_type,
        )
        assert status in (400, 404)
        assert json.loads(answer)["refused"]["do"]


# Importing


def test_a_missing_unit_comes_back_as_a_question_and_is_answered(open_order):
    status, answer = send_files(open_order, [("plate.stl", cube((0.2, 0.1, 0.01)))], **MACHINE)
    assert status == 200
    (asked,) = answer["files"]
    assert asked["state"] == "asks"
    assert asked["question"]["asked"] == "unit"
    assert asked["question"]["choices"][0]["value"] == "m"
    assert "as metres it measures 200 x 100 x 10 mm" in asked["question"]["choices"][0]["words"]
    assert not (open_order.folder / "meshes/plate.stl").exists()
    _, answer = send_files(open_order, [], id=asked["id"], unit="m")
    assert answer["files"][0]["state"] == "imported"
    assert answer["files"][0]["report"]["parts"][0]["size_mm"] == pytest.approx([200.0, 100.0, 10.0])
    assert 'unit = "m"' in (open_order.folder / "project.toml").read_text(encoding="utf-8")
    status, answer = send_files(open_order, [], id=asked["id"], unit="m")
    assert status == 404


def test_several_files_each_stand_for_themselves(open_order):
    files = [("one.stl", cube()), ("broken.stl", b"nothing"), ("two.stl", cube((10.0, 10.0, 10.0)))]
    _, answer = send_files(open_order, files, unit="mm", **MACHINE)
    assert [(item["name"], item["state"]) for item in answer["files"]] == [
        ("one.stl", "imported"),
        ("broken.stl", "refused"),
        ("two.stl", "imported"),
    ]


def test_which_machine_is_asked_where_there_are_two(open_order):
    _, answer = send_files(open_order, [("plate.stl", cube())], unit="mm")
    question = answer["files"][0]["question"]
    assert question["asked"] == "machine"
    assert [choice["value"] for choice in question["choices"]] == ["tall", "desk"]
    _, answer = send_files(open_order, [], id=answer["files"][0]["id"], machine="desk")
    assert answer["files"][0]["state"] == "imported"


def test_what_was_received_is_gone_when_the_server_ends(copy_of_demo, tmp_path, monkeypatch):
    waiting = tmp_path / "temporary"
    waiting.mkdir()
    monkeypatch.setenv("TMPDIR", str(waiting))
    bench = start_workbench(copy_of_demo)
    bench.wait_until_it_answers()
    send_files(bench, [("plate.stl", cube())], **MACHINE)
    assert any(path.name == "plate.stl" for path in waiting.rglob("*"))
    assert bench.interrupt() == 0
    assert [path for path in waiting.rglob("*") if path.is_file()] == []


# In a browser


@pytest.mark.browser
@pytest.mark.parametrize("address", ["/", "/parts", "/fit", "/hold", "/settings", "/joints"])
def test_no_request_leaves_the_machine_and_the_policy_is_kept(shared_workbench, page, requests, address):
    page.goto(shared_workbench.url + address)
    page.wait_for_function("document.body.innerText.includes('Harrow Fell')")
    page.wait_for_timeout(1000)
    assert requests.outside == []
    assert any(url.startswith("ws://") for url in requests.urls)


@pytest.mark.browser
def test_the_policy_stops_a_page_from_sending_elsewhere(shared_workbench, context, requests):
    page = context.new_page()
    page.goto(shared_workbench.url)
    words = page.evaluate("fetch('http://192.0.2.1/').then(() => 'sent', error => String(error))")
    assert "Failed to fetch" in words
    requests.urls[:] = [url for url in requests.urls if "192.0.2.1" not in url]


@pytest.mark.browser
def test_a_page_of_another_site_cannot_read_post_frame_or_connect(shared_workbench, context):
    """The other site is a second server on this machine: another port is another origin."""
    context.route(
        "http://localhost:1/**",
        lambda route: route.fulfill(body="<p>another site</p>", content_type="text/html"),
    )
    page = context.new_page()
    page.goto("http://localhost:1/")
    url = shared_workbench.url
    script = """async (url) => {
        const post = await fetch(url + '/bench/upload', {method: 'POST', body: 'x', mode: 'no-cors'}).then(
            answer => answer.type, error => 'failed');
        const read = await fetch(url + '/').then(() => 'read', error => 'failed');
        const socket = await new Promise(done => {
            const path = '/_nicegui_ws/socket.io/?EIO=4&transport=websocket';
            const socket = new WebSocket(url.replace('http', 'ws') + path);
            socket.onopen = () => done('open'); socket.onerror = () => done('failed');
        });
        return {post, read, socket};
    }"""
    found = page.evaluate(script, url)
    assert found["read"] == "failed"
    assert found["socket"] == "failed"
    assert found["post"] in ("opaque", "failed")


@pytest.mark.browser
def test_the_link_opens_the_workbench_in_a_browser_once(copy_of_demo, chromium):
    address = own_address()
    if address is None:
        pytest.skip("this machine has no address besides loopback")
    bench = start_workbench(copy_of_demo, "--share", address)
    try:
        link = bench.link
        bench.wait_until_it_answers()
        first, second = chromium.new_context(), chromium.new_context()
        page = first.new_page()
        page.goto(link)
        page.wait_for_function("document.body?.innerText.includes('Harrow Fell')", timeout=30_000)
        assert "token" not in page.url
        other = second.new_page()
        other.goto(link)
        assert "has been used" in other.inner_text("body")
        first.close()
        second.close()
    finally:
        bench.end()


@pytest.mark.browser
def test_a_refusal_is_accessible(shared_workbench, context):
    page = context.new_page()
    page.goto(shared_workbench.url + "/nothing")
    assert accessibility_faults(page) == []
