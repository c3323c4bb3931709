"""What keeps a coupler or a serial together on its way into a page."""

from app.web.context import unbroken


def test_a_couplers_numbers_are_kept_on_one_line_and_nothing_else_is_let_through() -> None:
    assert unbroken("Reset coupler 10–11 <b>") == ('Reset coupler <span class="unbroken">10–11</span> &lt;b&gt;')
    assert unbroken("couplers 2–3, 3–4").count('<span class="unbroken">') == 2


def test_a_serial_is_one_word_and_words_of_letters_are_not() -> None:
    said = unbroken("Heat-soaked B8-4471 and 31-0217, visit 2")
    assert said == (
        'Heat-soaked <span class="unbroken">B8-4471</span> and <span class="unbroken">31-0217</span>, visit 2'
    )
    assert "span" not in unbroken("a serial of 22 signs: AB-1234567-1234567-XYZ")


def test_words_without_a_coupler_are_left_to_the_template() -> None:
    assert unbroken("Stop screw <A>") == "Stop screw <A>"
    assert not hasattr(unbroken("Stop screw <A>"), "__html__")
