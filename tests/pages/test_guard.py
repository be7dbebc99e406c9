"""Who may see and change what: every route without a session, as a viewer, with wrong tokens, hosts and origins."""

import pytest

from tapehook.pages.guard import LARGEST_BODY
from tests.pages.asking import SERVER, TABLET, Client
from tests.pages.kit import NOBODY, Served, all_routes, job_key

ROUTES = all_routes()
OPEN = {("GET", "/pair"), ("POST", "/api/pair")}
WRITING = [(method, path) for method, path in ROUTES if method != "GET" and path != "/api/pair"]


@pytest.mark.parametrize("method, path", ROUTES)
def test_without_a_session_nothing_is_told(demo_server: Served, method: str, path: str) -> None:
    """A device that was not let in is shown the way in and nothing else, not even whether a thing exists."""
    stranger = Client(demo_server.app, TABLET, f"{SERVER}:8310")
    answer = stranger.ask(method, path, {"content-type": "application/json"}, b"{}" if method != "GET" else b"")
    if (method, path) in OPEN:
        assert answer.status in {200, 422}
        return
    refused = 401 if path.startswith("/api") else 303
    if method != "GET":
        refused = 401
    assert answer.status == refused
    assert "Ninety Herons" not in answer.text
    assert answer.header("set-cookie") == ""


@pytest.mark.parametrize("method, path", WRITING)
def test_a_viewer_writes_nothing(viewer: Client, method: str, path: str) -> None:
    """A device that may only look is refused by every route that may change something, before it is looked at."""
    answer = viewer.post(path, {}, method=method)
    assert answer.status == 403
    assert "may look, and not write" in answer.text


@pytest.mark.parametrize("method, path", WRITING)
@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_a_wrong_token_writes_nothing(laptop: Client, method: str, path: str, token: str) -> None:
    """Without the token of its own page not even the laptop writes: another site's page has none."""
    answer = laptop.post(path, {}, method=method, x_tapehook_token=token, **{"x-tapehook-token": token})
    assert answer.status == 403


@pytest.mark.parametrize("method, path", ROUTES)
@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "127.0.0.1.nip.example", "", "10.0.0.1"])
def test_a_foreign_host_gets_nothing(demo_server: Served, method: str, path: str, host: str) -> None:
    """A name that is not ours is refused whatever was asked: so no other site can speak through its own name."""
    client = Client(demo_server.app, host=host)
    assert client.ask(method, path).status == 421


@pytest.mark.parametrize("origin", ["https://evil.example", "http://localhost:9999", "null", "http://localhost"])
def test_a_foreign_origin_writes_nothing(laptop: Client, origin: str) -> None:
    """A request that another site's page sends is refused, its token right or not."""
    for method, path in [*WRITING, ("POST", "/api/pair")]:
        assert laptop.post(path, {}, method=method, origin=origin).status == 403
    assert laptop.post("/api/demo", origin="http://localhost:8310", **{"sec-fetch-site": "cross-site"}).status == 403


def test_our_own_origin_writes(server: Served) -> None:
    """The page's own request passes."""
    client = Client(server.app)
    client.get("/")
    answer = client.post("/api/jobs", {"name": "Harbour"}, origin="http://localhost:8310")
    assert answer.status == 200


@pytest.mark.parametrize("header", ["forwarded", "x-forwarded-for", "via"])
def test_what_a_proxy_hands_on_is_not_the_laptop(demo_server: Served, header: str) -> None:
    """A proxy on the machine would make every stranger look like its owner: such a request needs a session."""
    client = Client(demo_server.app)
    assert client.ask("GET", "/api/jobs", {header: "192.168.7.20"}).status == 401


def test_cookies_that_were_tampered_with_hold_nothing(demo_server: Served, viewer: Client) -> None:
    """A signature with one digit changed, another device's name, and the laptop's cookie elsewhere: all refused."""
    name, _, signature = viewer.cookies["tapehook"].partition(".")
    laptop = Client(demo_server.app)
    laptop.get("/help")
    for cookie in (
        f"{name}.{'0' * 64}",
        f"{name}",
        f".{signature}",
        f"x{name}.{signature}",
        laptop.cookies["tapehook"],
    ):
        stranger = Client(demo_server.app, TABLET, f"{SERVER}:8310", {"tapehook": cookie})
        assert stranger.get("/api/jobs").status == 401


def test_the_cookie_is_kept_from_scripts_and_other_sites(demo_server: Served) -> None:
    """HttpOnly, SameSite=Strict, for the whole site; on TLS also Secure."""
    answer = Client(demo_server.app).get("/help")
    assert "HttpOnly" in answer.header("set-cookie")
    assert "SameSite=Strict" in answer.header("set-cookie")


def test_every_answer_carries_the_policy(laptop: Client) -> None:
    """Nothing inline may run, nothing may frame us, nothing is guessed, nothing is kept; on errors too."""
    for path in ("/help", "/api/jobs", "/nowhere", "/static/pages.css", f"/job/{NOBODY}/prep"):
        answer = laptop.get(path)
        policy = answer.header("content-security-policy")
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.header("x-content-type-options") == "nosniff"
        assert answer.header("x-frame-options") == "DENY"
    assert laptop.get("/help").header("cache-control") == "no-store"


def test_what_is_too_large_is_refused(laptop: Client) -> None:
    """Told in the header or only found while it comes: both are 413, or 400 where the header lies, and never 500."""
    big = b'{"text": "' + b"1" * LARGEST_BODY + b'"}'
    path = f"/api/jobs/{NOBODY}/bench/{NOBODY}/column"
    headers = {"x-tapehook-token": laptop.token, "content-type": "application/json"}
    assert laptop.ask("POST", path, headers, big).status == 413
    assert laptop.ask("POST", path, {**headers, "content-length": "10"}, big).status in {400, 413}
    assert laptop.ask("POST", path, {**headers, "content-length": "1e3"}, b"{}").status == 400
    assert laptop.ask("POST", path, {**headers, "content-length": "9" * 400}, b"{}").status == 413


@pytest.mark.parametrize(
    "path",
    [
        "/static/../pages.css",
        "/static/..%2f..%2fpyproject.toml",
        "/static/%2e%2e/api.py",
        "/static//etc/passwd",
        "/static/fonts/../../pages/api.py",
        "/static/web/....//files.py",
        "/static/pages.css%00.py",
        "/part/help/..%2fbase",
    ],
)
def test_no_path_leads_out_of_what_is_served(laptop: Client, path: str) -> None:
    """Dots, slashes and zero bytes in a name lead nowhere."""
    answer = laptop.get(path)
    assert answer.status in {404, 422}
    assert "import" not in answer.text


@pytest.mark.parametrize("name", ["../pyproject.toml", "..", "prep.json/../../x", "%2e%2e%2fetc", "handover.pdf%00"])
def test_no_name_of_a_download_leads_out(laptop: Client, name: str) -> None:
    """A download is one of the handover's files by its name, and no path."""
    assert laptop.get(f"/job/{job_key(laptop)}/file/{name}").status in {404, 422}
