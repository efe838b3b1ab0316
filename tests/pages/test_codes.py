"""What a page calls by a code is found; the pages themselves are asked where they are looked at
(test_queries.py, test_demo_pages.py), and their refusals in tests/test_walls_typed.py."""

from tests.pages.codes import bare_codes


def test_a_code_is_found_wherever_it_is_read() -> None:
    for page in (
        "<p>overrode: not_in_formula, status</p>",
        '<p aria-label="not_in_formula">x</p>',
        "<table><tr><td>not_in_formula</table>",
        "<p>It is <em>not_in_formula</em></p>",
        "<p><code>x</code> not_in_formula.</p>",
    ):
        assert bare_codes(page) == ["not_in_formula"], page


def test_what_is_written_so_is_no_code() -> None:
    for page in (
        '<option value="not_in_formula">not in the formula</option>',
        "<p>Its column is <code>expires_on</code>.</p>",
        "<p>certificate_of.pdf, https://example.org/a_b, some_one@example.org</p>",
    ):
        assert bare_codes(page) == [], page
