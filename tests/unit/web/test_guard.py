"""What the guard lets in and what it refuses, asked as an ASGI server would ask it."""

import pytest

from dryfit.web.guard import Guard
from dryfit.web.tickets import Tickets
from support.event_loops import run_alone

PORT = 8140
LOCAL, SHARED = ("127.0.0.1", PORT), ("192.168.1.20", PORT)


class Application:
    """Reads the body, answers, and remembers what reached it."""

    def __init__(self):
        self.reached, self.bytes = [], 0

    async def __call__(self, scope, receive, send):
        self.reached.append(scope["type"])
        if scope["type"] == "lifespan":
            return
        if scope["type"] == "websocket":
            await send({"type": "websocket.accept"})
            return
        while True:
            message = await receive()
            if message["type"] == "http.disconnect":
                raise ConnectionError("the client hung up")
            self.bytes += len(message.get("body", b""))
            if not message.get("more_body"):
                break
        await send(
            {"type": "http.response.start", "status": 200, "headers": [(b"x-frame-options", b"ALLOWALL")]}
        )
        await send({"type": "http.response.body", "body": b"in"})


class Answer:
    def __init__(self, messages):
        self.messages = messages

    @property
    def status(self):
        return self.messages[0]["status"]

    @property
    def headers(self):
        return {name.decode(): value.decode() for name, value in self.messages[0]["headers"]}

    @property
    def words(self):
        return b"".join(message.get("body", b"") for message in self.messages).decode()

    @property
    def is_websocket_open(self):
        return self.messages == [{"type": "websocket.accept"}]


class Door:
    """A guard and the application behind it."""

    def __init__(self, **options):
        self.application, self.tickets = Application(), Tickets()
        self.guard = Guard(self.application, PORT, tickets=self.tickets, **options)

    def ask(self, path="/", method="GET", kind="http", server=LOCAL, query="", body=(b"",), **headers):
        host = headers.pop("host", f"{server[0]}:{server[1]}")
        lines = {"host": host, **{name.replace("_", "-"): value for name, value in headers.items()}}
        scope = {
            "type": kind,
            "path": path,
            "method": method,
            "server": server,
            "client": ("127.0.0.1", 50000),
            "query_string": query.encode(),
            "headers": [
                (name.encode(), value.encode("latin-1")) for name, value in lines.items() if value is not None
            ],
        }
        pieces = [{"type": "http.request", "body": piece, "more_body": True} for piece in body]
        pieces[-1]["more_body"] = False
        sent = []

        async def receive():
            return pieces.pop(0)

        async def send(message):
            sent.append(message)

        run_alone(self.guard(scope, receive, send))
        return Answer(sent)


@pytest.fixture
def door():
    return Door()


@pytest.fixture
def shared():
    return Door(share="192.168.1.20")


def post(door, origin, **options):
    return door.ask(method="POST", origin=origin, **options)


@pytest.mark.parametrize("host", ["127.0.0.1:8140", "localhost:8140", "LOCALHOST:8140", "[::1]:8140"])
def test_loopback_needs_no_token(door, host):
    assert door.ask(host=host).status == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example:8140",
        "evil.example",
        "127.0.0.1",
        "127.0.0.1:80",
        "127.0.0.1.evil.example:8140",
        "",
        None,
        "192.168.1.20:8140",
        "localhost:8140@evil.example",
    ],
)
def test_another_name_pointed_at_this_machine_finds_nothing(door, host):
    answer = door.ask(host=host)
    assert answer.status == 403
    assert "not known by this name" in answer.words
    assert door.application.reached == []


def test_the_name_is_checked_for_websockets_too(door):
    origin = "http://evil.example:8140"
    answer = door.ask(kind="websocket", host="evil.example:8140", origin=origin)
    assert answer.messages[0]["type"] == "websocket.close"
    assert door.application.reached == []


def test_a_websocket_of_the_workbench_itself_opens(door):
    assert door.ask(kind="websocket", origin="http://127.0.0.1:8140").is_websocket_open


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "https://127.0.0.1:8140",
        "http://127.0.0.1:9999",
        "http://127.0.0.1",
        "null",
        "",
        None,
    ],
)
def test_a_websocket_or_a_post_of_another_site_is_refused(door, origin):
    assert door.ask(kind="websocket", origin=origin).messages[0]["code"] == 1008
    assert post(door, origin).status == 403
    assert door.application.reached == []


def test_a_post_of_the_workbench_itself_comes_through(door):
    assert post(door, "http://localhost:8140", host="localhost:8140").status == 200


@pytest.mark.parametrize("mode", ["no-cors", "cors", "websocket", None])
@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_nothing_of_another_site_is_embedded(door, site, mode):
    assert door.ask("/bench/mesh/a.bin", sec_fetch_site=site, sec_fetch_mode=mode).status == 403


def test_a_frame_of_another_site_is_refused_and_a_link_is_not(door):
    crossing = {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate"}
    assert door.ask(**crossing, sec_fetch_dest="iframe").status == 403
    assert door.ask(**crossing, sec_fetch_dest="document").status == 200


def test_two_host_lines_are_refused(door):
    async def ask():
        lines = [(b"host", b"127.0.0.1:8140"), (b"host", b"evil.example")]
        scope = {"type": "http", "path": "/", "method": "GET", "server": LOCAL, "headers": lines}
        sent = []

        async def send(message):
            sent.append(message)

        await door.guard(scope, None, send)
        return sent[0]["status"]

    assert run_alone(ask()) == 403


@pytest.mark.parametrize(
    "path", ["/../project.toml", "/bench/static/../../x", "/a/..", "/a\0b", "/..\\..\\x"]
)
def test_a_path_does_not_climb(door, path):
    assert door.ask(path).status == 400
    assert door.application.reached == []


def test_a_shared_address_asks_for_a_token(shared):
    assert shared.ask(server=SHARED).status == 401
    assert (
        shared.ask(kind="websocket", server=SHARED, origin="http://192.168.1.20:8140").messages[0]["code"]
        == 1008
    )
    assert shared.application.reached == []
    assert shared.ask(server=LOCAL).status == 200


def test_the_client_cannot_claim_to_be_local(shared):
    claimed = shared.ask(server=SHARED, x_forwarded_for="127.0.0.1", forwarded="for=127.0.0.1;host=127.0.0.1")
    assert claimed.status == 401
    assert shared.ask(server=SHARED, host="127.0.0.1:8140").status == 403


def take(door, token):
    return door.ask(server=SHARED, query=f"token={token}")


def cookie_of(answer):
    return answer.headers["set-cookie"].split(";")[0]


def test_a_token_lets_one_browser_in_by_a_strict_cookie(shared):
    answer = take(shared, shared.tickets.issue())
    assert answer.status == 200
    assert answer.headers["set-cookie"].endswith("; HttpOnly; SameSite=Strict; Path=/")
    cookie = cookie_of(answer)
    assert shared.ask(server=SHARED, cookie=f"other=1; {cookie}").status == 200
    opened = shared.ask(kind="websocket", server=SHARED, cookie=cookie, origin="http://192.168.1.20:8140")
    assert opened.is_websocket_open


def test_a_token_is_spent_by_its_first_use(shared):
    token = shared.tickets.issue()
    first, second = take(shared, token), take(shared, token)
    assert (first.status, second.status) == (200, 403)
    assert "set-cookie" not in second.headers
    assert "Enter" in second.words


def test_a_new_token_voids_the_unused_one_before_but_no_session(shared):
    session = cookie_of(take(shared, shared.tickets.issue()))
    old = shared.tickets.issue()
    new = shared.tickets.issue()
    assert take(shared, old).status == 403
    assert take(shared, new).status == 200
    assert shared.ask(server=SHARED, cookie=session).status == 200


@pytest.mark.parametrize("token", ["", "x", "%00", "é", "None"])
def test_a_guessed_token_is_refused(shared, token):
    shared.tickets.issue()
    assert take(shared, token).status in (401, 403)
    assert shared.application.reached == []


def test_a_guessed_cookie_is_refused(shared):
    shared.tickets.issue()
    for value in ("", "x", "\xe9"):
        assert shared.ask(server=SHARED, cookie=f"{shared.guard.cookie}={value}").status == 401


def test_a_token_counts_only_under_the_right_name_and_from_the_right_page(shared):
    token = shared.tickets.issue()
    query = f"token={token}"
    assert shared.ask(server=SHARED, host="evil.example:8140", query=query).status == 403
    assert shared.ask(server=SHARED, origin="http://evil.example", query=query).status == 403
    assert take(shared, token).status == 200


def test_a_body_that_states_too_much_is_not_read(door):
    answer = post(door, "http://127.0.0.1:8140", content_length=str((1 << 20) + 1))
    assert answer.status == 413
    assert answer.headers["connection"] == "close"
    assert door.application.reached == []


@pytest.mark.parametrize("length", ["-1", "1e3", "x", "²", ""])
def test_a_length_that_is_no_number_is_refused(door, length):
    assert post(door, "http://127.0.0.1:8140", content_length=length).status == 400


def test_a_length_of_thousands_of_digits_is_too_large(door):
    assert post(door, "http://127.0.0.1:8140", content_length="9" * 5000).status == 413


def test_a_body_that_states_no_length_is_counted():
    door = Door(largest_body=1000)
    answer = post(door, "http://127.0.0.1:8140", body=[b"x" * 400] * 3)
    assert answer.status == 413
    assert door.application.bytes == 800
    assert post(door, "http://127.0.0.1:8140", body=[b"x" * 500] * 2).status == 200


def test_one_path_may_take_more():
    door = Door(largest_body=10, bodies={"/bench/upload": 1000})
    assert post(door, "http://127.0.0.1:8140", path="/bench/upload", body=[b"x" * 900]).status == 200
    assert post(door, "http://127.0.0.1:8140", path="/bench/upload/x", body=[b"x" * 900]).status == 413


def test_a_fault_of_the_application_is_not_hidden():
    async def broken(scope, receive, send):
        raise ZeroDivisionError

    door = Door()
    door.guard.app = broken
    with pytest.raises(ZeroDivisionError):
        door.ask()


def test_every_answer_carries_the_headers(door):
    for answer in (door.ask(), door.ask(host="evil.example")):
        headers = answer.headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["x-frame-options"] == "DENY"
        assert len(headers) == len(answer.messages[0]["headers"])  # the application's own value is replaced
        policy = headers["content-security-policy"].split("; ")
        assert {
            "default-src 'none'",
            "connect-src 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        } <= set(policy)
        assert not [rule for rule in policy if "http:" in rule or "https:" in rule or "*" in rule]


def test_the_start_and_end_of_the_server_pass(door):
    run_alone(door.guard({"type": "lifespan"}, None, None))
    assert door.application.reached == ["lifespan"]


@pytest.mark.parametrize(("words", "is_quiet"), [("No response returned.", True), ("something else", False)])
def test_a_browser_that_left_leaves_no_trace_in_the_terminal_and_faults_do(words, is_quiet):
    async def application(scope, receive, send):
        await receive()
        raise RuntimeError(words)

    async def leave():
        return {"type": "http.disconnect"}

    guard = Guard(application, PORT)
    scope = {
        "type": "http",
        "path": "/",
        "method": "GET",
        "server": LOCAL,
        "headers": [(b"host", b"127.0.0.1:8140")],
    }
    if is_quiet:
        run_alone(guard(scope, leave, None))
    else:
        with pytest.raises(RuntimeError):
            run_alone(guard(scope, leave, None))
