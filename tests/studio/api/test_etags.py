"""Entity tags: whole for readers, by edition for writers."""

import pytest

from studio.api.etags import BadEntityTag, etag, expected_edition, unchanged
from studio.api.refusals import PreconditionRequired
from studio.kernel.errors import StaleEdition

TAG = etag(3, b"{}")


def asking(rf, **headers):
    return rf.get("/", headers={name.replace("_", "-"): value for name, value in headers.items()})


def test_a_tag_names_the_edition_and_the_bytes():
    # SHA-256 of "{}" begins 44136fa355b3678a (computed with sha256sum).
    assert TAG == '"3-44136fa355b3678a"'
    assert etag(None, b"{}") == '"44136fa355b3678a"'
    assert etag(3, b"{ }") != TAG


@pytest.mark.parametrize(
    ("header", "edition"),
    [
        (TAG, 3),
        ('"3-0000000000000000"', 3),
        ('"3"', 3),
        (f' {TAG} , W/"4", "foreign"', 3),
        (f"{TAG}, {TAG}", 3),
        (f",, {TAG}, ,", 3),
        ("*", None),
        (" * ", None),
    ],
)
def test_if_match_is_about_the_edition(rf, header, edition):
    assert expected_edition(asking(rf, if_match=header)) == edition


@pytest.mark.parametrize("header", ['W/"3"', f"W/{TAG}", '"foreign"', '""', '"03"', '"-3"', '"3-x"', '"0"'])
def test_a_tag_that_can_never_match_is_stale(rf, header):
    with pytest.raises(StaleEdition):
        expected_edition(asking(rf, if_match=header))


@pytest.mark.parametrize("header", ["", "3", '"3', '"3" "4"', 'w/"3"', ",", '"3", 4', '"3", "4"', '*, "3"'])
def test_a_header_that_cannot_be_read_is_refused(rf, header):
    with pytest.raises(BadEntityTag):
        expected_edition(asking(rf, if_match=header))


def test_a_missing_header_is_asked_for(rf):
    with pytest.raises(PreconditionRequired):
        expected_edition(asking(rf))


@pytest.mark.parametrize(
    ("header", "same"),
    [
        (TAG, True),
        (f"W/{TAG}", True),
        (f'"x", {TAG}', True),
        ("*", True),
        ('"3"', False),
        ('"3-0000000000000000"', False),
    ],
)
def test_if_none_match_is_about_every_byte(rf, header, same):
    assert unchanged(asking(rf, if_none_match=header), TAG) is same


def test_without_the_header_everything_is_news(rf):
    assert unchanged(asking(rf), TAG) is False


@pytest.mark.django_db
def test_what_did_not_change_is_not_sent_again(api):
    first = api.get("studio/")
    again = api.get("studio/", if_none_match=first["ETag"])
    assert (again.status_code, again.content) == (304, b"")
    assert again["ETag"] == first["ETag"]
    api.patch("studio/", {"claim_days": 3})
    assert api.get("studio/", if_none_match=first["ETag"]).status_code == 200


@pytest.mark.django_db
def test_a_tag_that_cannot_be_read_is_bad_input(api):
    assert api.get("studio/", if_none_match="nonsense").status_code == 400
    assert api.patch("studio/", {}, etag="nonsense").status_code == 400
