"""Who may speak to the desk: its own browser on this computer; everybody else is refused plainly, and it lives on.

The rules: RFC 9110 (Host), RFC 6454 (Origin), RFC 6265bis (SameSite cookies), Fetch Metadata Request Headers and
Content Security Policy Level 3 (W3C). A foreign Host is DNS rebinding, a foreign Origin a request forged across sites.
"""

import json
import re
import socket
import time
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest
from desk_lessons import LESSON
from desk_server import served

from render.desk.guard import LARGEST_BODY


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    folder = tmp_path_factory.mktemp("guarded") / "lessons"
    folder.mkdir()
    (folder / "first.toml").write_text(LESSON)
    (folder.parent / "outside.toml").write_text(LESSON)
    (folder.parent / "outside.html").write_text("secret")
    (folder / "link.toml").symlink_to(folder.parent / "outside.toml")
    (folder / "link.html").symlink_to(folder.parent / "outside.html")
    with served(folder) as one:
        yield one


def lives(desk):
    return [one["name"] for one in desk.ask("lessons")["lessons"]] == ["first.toml"]


def raw(desk, data, wait=5.0):
    """What comes back on a connection that says just this."""
    with socket.create_connection(("127.0.0.1", desk.own.port), timeout=wait) as own:
        own.sendall(data)
        told = b""
        while piece := own.recv(65536):
            told += piece
        return told


# --- from elsewhere -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:{port}",
        "127.0.0.1",
        "127.0.0.1:1",
        "",
        "localhost.evil:{port}",
        "[::1]:{port}",
        "0.0.0.0:{port}",
    ],
)
def test_another_host_is_refused(desk, host):
    host = host.format(port=desk.own.port)
    answer = desk.client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert answer.text == "This desk answers only to its own address on this computer.\n"
    assert (
        desk.client.post("/do/lessons", json={}, headers={"host": host, "origin": f"http://{host}"}).status_code == 421
    )
    assert lives(desk)


def test_no_host_at_all_is_refused(desk):
    assert raw(desk, b"GET / HTTP/1.0\r\n\r\n").startswith(b"HTTP/1.1 421")


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://localhost:{port}", "http://127.0.0.1:1", ""],
)
def test_another_origin_is_refused_even_with_the_cookie(desk, origin):
    origin = origin.format(port=desk.own.port)
    for answer in (
        desk.client.post("/do/delete", json={"name": "first.toml"}, headers={"origin": origin}),
        desk.client.get("/", headers={"origin": origin}),
    ):
        assert answer.status_code == 403
        assert answer.text == "This request comes from another page; the desk answers only its own.\n"
    assert lives(desk)


def test_a_change_without_an_origin_is_refused(desk):
    with httpx.Client(base_url=desk.origin, cookies=desk.client.cookies) as client:
        assert client.post("/do/delete", json={"name": "first.toml"}).status_code == 403
    assert lives(desk)


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_page_embeds_is_refused(desk, site):
    assert desk.client.get("/staff/first.toml", headers={"sec-fetch-site": site}).status_code == 403


def test_no_answer_lets_another_origin_read_it(desk):
    asked = {"origin": "http://evil.example", "access-control-request-method": "POST"}
    answers = [
        desk.client.options("/do/lessons", headers=asked),
        desk.client.get("/"),
        desk.client.get("/files/desk.css"),
    ]
    assert not [name for answer in answers for name in answer.headers if name.startswith("access-control")]
    assert answers[0].status_code == 403


def test_without_the_key_nothing_is_answered(desk):
    with httpx.Client(base_url=desk.origin, headers={"origin": desk.origin}) as client:
        for path in ("/", "/files/main.js", "/staff/first.toml", "/changes", "/made/first.html", "/kept/x.svg"):
            answer = client.get(path)
            assert answer.status_code == 403
            assert "Open the desk by the address that the command has printed" in answer.text
        assert client.post("/do/lessons", json={}).status_code == 403
        assert client.post("/import?file=x.mid", content=b"x").status_code == 403
        name = desk.own.cookie
        for word in ("", "x", desk.own.token[:-1], desk.own.token + "x", desk.own.token.swapcase(), "é"):
            cookie = f"{name}={word}".encode()
            assert client.get("/", headers={b"cookie": cookie}).status_code == 403
        assert client.get("/open/wrong", follow_redirects=False).status_code == 403


def test_the_key_becomes_a_cookie_that_no_script_and_no_other_site_gets(desk):
    with httpx.Client(base_url=desk.origin) as client:
        answer = client.get(f"/open/{desk.own.token}")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert len(desk.own.token) >= 43  # 256 bits in base64


def test_two_desks_have_two_keys(desk, tmp_path):
    with served(tmp_path) as other:
        assert other.own.token != desk.own.token
        told = {"cookie": f"{other.own.cookie}={desk.own.token}"}
        assert httpx.get(f"{other.origin}/", headers=told).status_code == 403


def test_it_listens_on_this_computer_alone(desk):
    with socket.socket() as own:
        own.settimeout(2)
        assert own.connect_ex(("127.0.0.2", desk.own.port)) != 0


# --- paths ----------------------------------------------------------------------------------------

WAYS = [
    "../outside.toml",
    "..%2foutside.toml",
    "%2e%2e/outside.toml",
    "....//outside.toml",
    "link.toml",
    "/etc/passwd",
    "%00",
    "..%5coutside.toml",
    "a/../../outside.toml",
]


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("place", ["staff", "made", "files", "kept"])
def test_no_path_leads_out_of_the_folder(desk, place, way):
    told = raw(
        desk,
        f"GET /{place}/{way} HTTP/1.1\r\nHost: 127.0.0.1:{desk.own.port}\r\nCookie: {desk.own.cookie}={desk.own.token}\r\nConnection: close\r\n\r\n".encode(),
    )
    assert re.match(rb"HTTP/1.1 4(04|22)", told), told[:200]
    assert b"secret" not in told and b"root:" not in told and b"title" not in told.partition(b"\r\n\r\n")[2]


@pytest.mark.parametrize("name", ["../outside.toml", "link.toml", "/etc/passwd", "..", "\0", "first.toml\0"])
def test_no_name_leads_out_of_the_folder(desk, name):
    for asked in ("open", "copy", "rename", "delete", "save", "keep", "make", "forget", "edit", "chart", "choices"):
        body = {"name": name, "title": "x", "text": LESSON, "base": "", "what": "page", "change": {"kind": "touch"}}
        assert desk.client.post(f"/do/{asked}", json=body).status_code == 422, asked
    assert lives(desk)


def test_only_what_was_made_is_given_out(desk):
    for name in ("first.toml", ".first.toml.draft", "link.html", "other.html"):
        assert desk.client.get(f"/made/{name}").status_code == 422


# --- much, slow, odd ------------------------------------------------------------------------------


def test_a_hundred_megabytes_are_refused_before_they_are_read(desk):
    head = f"POST /import?file=x.mid HTTP/1.1\r\nHost: 127.0.0.1:{desk.own.port}\r\nOrigin: {desk.origin}\r\nCookie: {desk.own.cookie}={desk.own.token}\r\n"
    told = raw(desk, f"{head}Content-Length: 104857600\r\n\r\n".encode() + b"x" * 1000)
    assert told.startswith(b"HTTP/1.1 413")
    assert b"at most 12 MB" in told
    assert lives(desk)


def test_a_body_that_announces_no_length_is_broken_off_too(desk):
    def pieces():
        for _ in range(110):
            yield b"x" * 1_000_000

    try:
        answer = desk.client.post("/import?file=x.mid", content=pieces())
        assert answer.status_code == 413
    except (httpx.WriteError, httpx.RemoteProtocolError, httpx.ReadError):
        pass  # it was cut in the midst of writing
    assert lives(desk)
    assert LARGEST_BODY < 100_000_000


def test_fifty_slow_clients_are_cut_off_and_keep_nobody_waiting(tmp_path):
    (tmp_path / "first.toml").write_text(LESSON)
    with served(tmp_path, seconds=1.5) as desk:
        fifty_slow_ones(desk)


def fifty_slow_ones(desk):
    slow = [socket.create_connection(("127.0.0.1", desk.own.port), timeout=10) for _ in range(50)]
    try:
        for number, one in enumerate(slow):
            one.sendall(
                b"GET / HTTP/1.1\r\nHost: 127"
                if number % 2
                else b"POST /do/lessons HTTP/1.1\r\nContent-Length: 9\r\n\r\n"
            )
        assert lives(desk)
        deadline = time.monotonic() + 30
        for one in slow:
            one.settimeout(max(deadline - time.monotonic(), 0.1))
            while True:
                try:
                    if not one.recv(4096):
                        break
                except ConnectionResetError:
                    break
    finally:
        for one in slow:
            one.close()
    assert lives(desk)


def test_fifty_at_once_are_all_answered(desk):
    def one(number):
        with httpx.Client(
            base_url=desk.origin, headers={"origin": desk.origin}, cookies=desk.client.cookies, timeout=60
        ) as client:
            change = {"kind": "touch", "bar": number % 4, "tick": 48}
            return client.post("/do/edit", json={"name": "first.toml", "text": LESSON, "change": change}).status_code

    with ThreadPoolExecutor(50) as pool:
        assert list(pool.map(one, range(50))) == [200] * 50
    assert lives(desk)


@pytest.mark.parametrize(
    "data",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"\0" * 100,
        b"X" * 200_000,
    ],
)
def test_what_is_no_request_is_refused_and_the_desk_lives(desk, data):
    try:
        told = raw(desk, data)
    except ConnectionResetError:
        told = b""
    assert told == b"" or told.startswith(b"HTTP/1.1 4")
    assert lives(desk)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"5",
        b"[" * 100_000,
        b"\xff",
        b'{"name": 5}',
        b'{"name": ["first.toml"]}',
        b'{"name": "' + b"x" * 100_000 + b'"}',
    ],
)
def test_a_body_that_cannot_be_read_is_refused_in_a_sentence(desk, body):
    answer = desk.client.post("/do/open", content=body)
    assert answer.status_code == 422
    assert 0 < len(answer.json()["error"]) < 400


@pytest.mark.parametrize("seconds", ["x", [1] * 3000, [None], ["a"], [1e400], [True], {}])
def test_taps_that_are_none_are_refused(desk, seconds):
    body = {"name": "first.toml", "groove": "swing", "tempo": 100, "bars": 4, "seconds": seconds}
    answer = desk.client.post("/do/tap", content=json.dumps(body))
    assert answer.status_code == 422
    assert answer.json()["error"].startswith("tap: ")


# --- what a page of ours may do ---------------------------------------------------------------------


def test_the_policy_allows_no_inline_script_and_nothing_from_elsewhere(desk):
    answer = desk.client.get("/")
    policy = dict(part.split(" ", 1) for part in answer.headers["content-security-policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert not re.findall(r"<script(?![^>]*\bsrc=)|\son\w+=|\sstyle=|javascript:", answer.text)
    for name, value in {
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
        "cache-control": "no-store",
    }.items():
        assert answer.headers[name] == value
    assert "server" not in answer.headers


def test_the_page_that_is_shown_can_do_no_more_than_one_that_is_given_and_is_framed_here_alone(desk):
    told = desk.ask("page", name="first.toml", text=LESSON)
    for name in (told["frame"], told["begins"], f"{told['hits'][0]}.flac"):
        answer = desk.client.get(f"/kept/{name}")
        policy = answer.headers["content-security-policy"]
        own = dict(part.split(" ", 1) for part in policy.split("; "))
        assert own.pop("script-src") == own.pop("style-src") == own.pop("frame-ancestors") == "'self'"
        assert own.pop("worker-src") == "blob:"
        assert own == dict.fromkeys(("default-src", "base-uri", "form-action"), "'none'")
        assert answer.headers["cache-control"] == "private, max-age=86400, immutable"
    frame = desk.client.get(f"/kept/{told['frame']}").text
    assert not re.findall(r"<script(?![^>]*\bsrc=)|\son\w+=|\sstyle=|javascript:", frame)
    assert not re.findall(r"<script(?![^>]*\btype=\"application/json)|\son\w+=|javascript:", told["body"])
