"""What keeps a coupler together on its way into a page."""

from app.web.context import unbroken


def test_a_couplers_numbers_are_kept_on_one_line_and_nothing_else_is_let_through() -> None:
    assert unbroken("Reset coupler 10–11 <b>") == ('Reset coupler <span class="unbroken">10–11</span> &lt;b&gt;')
    assert unbroken("couplers 2–3, 3–4").count('<span class="unbroken">') == 2


def test_words_without_a_coupler_are_left_to_the_template() -> None:
    assert unbroken("Stop screw <A>") == "Stop screw <A>"
    assert not hasattr(unbroken("Stop screw <A>"), "__html__")
