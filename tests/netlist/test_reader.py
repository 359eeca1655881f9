"""What the reader makes of good netlists."""

from __future__ import annotations

import pytest

from guardcheck.errors import CircuitError
from guardcheck.model import Model
from guardcheck.netlist import deck_lines, defaults, flatten, models_of, parse, parse_models

PAD = """* a resistive pad
.subckt two_resistor_pad in out vdd gnd series=270 shunt=100
rs in out {series}
rp out gnd {shunt}
.ends two_resistor_pad
"""


def lines(text: str, ports: dict[str, str] | None = None, **values: float) -> tuple[str, ...]:
    circuit = parse(text, file="mine.cir")
    ports = ports or {port: port if port != "gnd" else "0" for port in circuit.ports}
    return deck_lines(flatten(circuit, name="x", ports=ports, values=values), models_of(circuit))


def body(cards: str, ports: str = "a b") -> str:
    return f".subckt part {ports}\nr0 a b 1k\n{cards}\n.ends\n"


def line(cards: str) -> str:
    """Return the deck line of the last element in `cards`."""
    found = [item for item in lines(body(cards)) if not item.startswith(".")]
    return found[-1]


def test_a_part_has_a_name_ports_and_parameters() -> None:
    circuit = parse(PAD, file="pad.cir")
    assert (circuit.name, circuit.ports, circuit.file) == ("two_resistor_pad", ("in", "out", "vdd", "gnd"), "pad.cir")
    assert defaults(circuit) == {"series": 270.0, "shunt": 100.0}
    assert [(element.name, element.nodes, element.line) for element in circuit.elements] == [
        ("rs", ("in", "out"), 3),
        ("rp", ("out", "gnd"), 4),
    ]
    assert circuit.model_names == frozenset()


def test_elements_are_hashable_and_equal_texts_read_equal() -> None:
    one, two = parse(PAD, file="pad.cir"), parse(PAD.upper().replace("\n", "\r\n").encode(), file="pad.cir")
    assert one == two
    assert len({*one.elements, *two.elements}) == 2


@pytest.mark.parametrize(
    ("card", "wanted"),
    [
        ("r1 a b 4.7k", "r1_x a b 4700.0"),
        ("R1 A B 4.7K", "r1_x a b 4700.0"),
        ("r1 a b {2*(1k+1)}", "r1_x a b 2002.0"),
        ("r1 a b '1k/2'", "r1_x a b 500.0"),
        ("c1 a b 10u ic=2.5", "c1_x a b 1e-05 ic=2.5"),
        ("l1 a b 1u", "l1_x a b 1e-06"),
        ("l1 a b 1u\nl2 a b 4u\nk1 l1 l2 0.9", "k1_x l1_x l2_x 0.9"),
        ("v1 a b 5", "v1_x a b dc 5.0"),
        ("v1 a b dc 5 ac 1 90", "v1_x a b dc 5.0 ac 1.0 90.0"),
        ("v1 a b ac 1", "v1_x a b dc 0.0 ac 1.0"),
        ("i1 a b dc 1m", "i1_x a b dc 0.001"),
        ("v1 a b pulse(0 5 1u 1n 1n 5u 10u)", "v1_x a b pulse(0.0 5.0 1e-06 1e-09 1e-09 5e-06 1e-05)"),
        ("v1 a b PULSE( 0 5 1u 1n 1n )", "v1_x a b pulse(0.0 5.0 1e-06 1e-09 1e-09)"),
        ("v1 a b dc 1 sin(0 1 15.625k)", "v1_x a b dc 1.0 sin(0.0 1.0 15625.0)"),
        ("i1 a b exp(0 1 0 1n 5n 2n)", "i1_x a b exp(0.0 1.0 0.0 1e-09 5e-09 2e-09)"),
        ("v1 a b pwl(0 0 1u {2*3})", "v1_x a b pwl(0.0 0.0 1e-06 6.0)"),
        ("v1 a b pwl(0 0\n* between\n+ 1u 1\n\n+ 2u 0)", "v1_x a b pwl(0.0 0.0 1e-06 1.0 2e-06 0.0)"),
        ("e1 a b a b 2", "e1_x a b a b 2.0"),
        ("g1 a b a b 1m", "g1_x a b a b 0.001"),
        ("e1 a b value={2*v(a)}", "be1_x a b v=(2.0*v(a))"),
        ("g1 a b VALUE {v(a,b)/75}", "bg1_x a b i=(v(a,b)/75.0)"),
        ("v1 a b 0\nf1 a b v1 3", "f1_x a b v1_x 3.0"),
        ("v1 a b 0\nh1 a b v1 75", "h1_x a b v1_x 75.0"),
        ("v1 a b 0\nb1 a b i=i(v1)*2", "b1_x a b i=(i(v1_x)*2.0)"),
        ("b1 a b v={v(a)>0 ? 1 : time}", "b1_x a b v=((v(a)>0.0)?1.0:time)"),
        ("b1 a b v='v(a)+1'", "b1_x a b v=(v(a)+1.0)"),
        ("b1 a b V = v( a , b ) * -1", "b1_x a b v=(v(a,b)*(-1.0))"),
        ("d1 a b dx", "d1_x a b dx"),
        ("d1 a b dx 2 off", "d1_x a b dx 2.0 off"),
        ("d1 a b dx area={1+1}", "d1_x a b dx 2.0"),
        ("q1 a b 0 2n3904", "q1_x a b 0 2n3904"),
        ("q1 a b 0 0 2n3904", "q1_x a b 0 0 2n3904"),
        ("q1 a b 0 2n3904 2", "q1_x a b 0 2n3904 2.0"),
        ("q1 a b 0 2n3904 off", "q1_x a b 0 2n3904 off"),
        ("q1 a b 0 0 2n3904 1.5 off", "q1_x a b 0 0 2n3904 1.5 off"),
        ("j1 a b 0 jx", "j1_x a b 0 jx"),
        ("m1 a b 0 0 mx w=10u l=1u", "m1_x a b 0 0 mx w=1e-05 l=1e-06"),
        ("s1 a b a 0 sx on", "s1_x a b a 0 sx on"),
        ("t1 a 0 b 0 td=8n z0=75", "t1_x a 0 b 0 z0=75.0 td=8e-09"),
        ("r1 a gnd 1k", "r1_x a 0 1000.0"),
        ("r1 a n 1k\nr2 n b 1k", "r2_x x_n b 1000.0"),
    ],
)
def test_every_kind_of_element(card: str, wanted: str) -> None:
    assert line(card) == wanted


def test_names_of_foreign_models_are_reported() -> None:
    text = body("d1 a b dx\nq1 a b 0 qx\nx1 a b h\n.model dx d(rs=1)") + ".subckt h a b\nd1 a b dy\n.ends\n"
    assert parse(text, file="mine.cir").model_names == {"qx", "dy"}


def test_gnd_is_the_port_where_there_is_one_and_node_0_elsewhere() -> None:
    ported = ".subckt part in gnd\nr1 in gnd 1\nr2 in 0 2\nb1 in gnd i=v(gnd)\n.ends\n"
    assert lines(ported, {"in": "a", "gnd": "far"}) == ("r1_x a far 1.0", "r2_x a 0 2.0", "b1_x a far i=v(far)")
    alone = ".subckt part in\nr1 in gnd 1\nb1 in 0 i=v(gnd)\n.ends\n"
    assert lines(alone, {"in": "a"}) == ("r1_x a 0 1.0", "b1_x a 0 i=v(0)")


def test_constants_defaults_and_derived_parameters_build_on_each_other() -> None:
    text = """
.param base=50 twice={2*base}
.func half(x) {x/2}
.subckt part a b r={twice} s={r+half(base)}
.param sum={r+s}
r1 a b {sum}
.param unused={sum*2}
.ends
"""
    circuit = parse(text, file="mine.cir")
    assert defaults(circuit) == {"r": 100.0, "s": 125.0}
    assert lines(text) == ("r1_x a b 225.0",)
    assert lines(text, r=1.0) == ("r1_x a b 27.0",)


def test_a_derived_parameter_cannot_be_given() -> None:
    text = ".subckt part a b r=1\n.param sum={r+1}\nr1 a b {sum}\n.ends\n"
    with pytest.raises(CircuitError, match="'sum' is worked out inside 'part' and cannot be given"):
        lines(text, sum=3.0)


def test_functions_call_functions_and_catch_no_names() -> None:
    text = """
.func add(x,y) {x+y}
.func mix(y,x) {add(10*y, x)}
.subckt part a b x=1 y=2
r1 a b {mix(x,y)}
r2 a b {mix(y,x)}
.ends
"""
    assert lines(text) == ("r1_x a b 12.0", "r2_x a b 21.0")


def test_helpers_are_called_with_their_own_parameters() -> None:
    text = """
.subckt part a b r=10
x1 a n helper r={2*r}
x2 n b helper
xlong_1 a b deeper params: k=3
.ends
.subckt helper p q r=1
r1 p m {r}
r2 m q {r}
.ends
.subckt deeper p q k=1
x1 p q helper r={k}
.ends
"""
    assert lines(text) == (
        "r1_x1_x a x1_x_m 20.0",
        "r2_x1_x x1_x_m x_n 20.0",
        "r1_x2_x x_n x2_x_m 1.0",
        "r2_x2_x x2_x_m b 1.0",
        "r1_x1_xlong_1_x a x1_xlong_1_x_m 3.0",
        "r2_x1_xlong_1_x x1_xlong_1_x_m b 3.0",
    )


def test_models_stand_anywhere_and_take_constants_only() -> None:
    text = ".param ohms=0.6\n.subckt part a b\nd1 a b dx\n.model dx d is=2n rs={ohms} cj0=4p\n.ends\n"
    assert parse(text, file="mine.cir").models == {"dx": Model("dx", "d", {"is": 2e-9, "rs": 0.6, "cjo": 4e-12})}
    assert lines(text)[-1] == ".model dx d(is=2e-09 rs=0.6 cjo=4e-12)"


def test_a_file_of_models() -> None:
    text = "* two\n.model dx d(rs=1)\n.MODEL SX SW(ron=1 roff=1meg\n+ vt=0.5)\n.end\n"
    assert parse_models(text, file="m.cir") == (
        Model("dx", "d", {"rs": 1.0}),
        Model("sx", "sw", {"ron": 1.0, "roff": 1e6, "vt": 0.5}),
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("* nothing\n", "m.cir: there is no .model card"),
        (".subckt part a b\n", "m.cir:1: '.subckt' is not accepted in a file of models"),
        ("r1 a b 1\n", "m.cir:1: 'r1' is not accepted in a file of models"),
        (".model dx d(rs=1)\n.model dx d(rs=1)\n", "m.cir:2: dx: the model is defined twice"),
        (".model dx d(rs=1\n", "m.cir:1: dx: ')' is missing at the end"),
        (".model dx d(rs)\n", "m.cir:1: dx: '=' is missing before ')'"),
        (".model sx sw(ron=0)\n", "m.cir:1: sx: ron must be greater than 0"),
    ],
)
def test_a_bad_file_of_models(text: str, says: str) -> None:
    with pytest.raises(CircuitError) as caught:
        parse_models(text, file="m.cir")
    assert says in str(caught.value)


def test_the_error_carries_file_line_and_card() -> None:
    with pytest.raises(CircuitError) as caught:
        parse(body("* comment\nr7 a b\n+ 4k7"), file="mine.cir")
    assert (caught.value.file, caught.value.line, caught.value.key) == ("mine.cir", 4, "r7")


def test_comments_and_blank_lines_keep_the_line_numbers() -> None:
    with pytest.raises(CircuitError, match=r"mine\.cir:7: r2:"):
        parse(".subckt p a b\n\n* one\nr1 a b 1\n\n  * two\nr2 a b 4k7\n.ends\n", file="mine.cir")


def test_700_points_are_read_and_701_are_not() -> None:
    points = [f"+ {index}n {index % 2}" for index in range(700)]
    assert line("v1 a b pwl(\n" + "\n".join(points) + ")").count(" ") == 2 + 2 * 700
    with pytest.raises(CircuitError, match="a pwl source may have 700 points"):
        line("v1 a b pwl(\n" + "\n".join([*points, "+ 700n 0"]) + ")")


def test_a_part_of_2000_elements_is_read_and_one_more_is_not() -> None:
    text = "\n".join(f"r{index} a b 1k" for index in range(1, 2000))
    assert len(lines(body(text))) == 2000
    with pytest.raises(CircuitError, match="more than 2000 elements"):
        lines(body(text + "\nr2000 a b 1k"))


def test_what_expressions_grow_to_is_bounded_for_the_whole_part() -> None:
    """Every line is modest; together, written out, they would keep the reader busy for minutes."""
    grow = f".func f(x) {{{'+'.join(['x'] * 150)}}}\n.func g(x) {{f(x)+f(x)+f(x)+f(x)}}\n"
    many = "\n".join(f"r{index} a b {{g(1)}}" for index in range(1, 1900))
    with pytest.raises(CircuitError, match="more than 50000 terms once they are written out"):
        parse(grow + body(many), file="mine.cir")
    calls = "\n".join(f"x{index} a b h" for index in range(1, 1900))
    helper = ".subckt h a b\nr1 a b {g(1)}\n.ends\n"
    with pytest.raises(CircuitError, match="more than 50000 terms once they are written out"):
        parse(grow + body(calls) + helper, file="mine.cir")


def test_parameters_and_functions_are_counted() -> None:
    constants = "".join(f".param p{index}=1\n" for index in range(90))
    assert parse(constants + body(""), file="mine.cir").name == "part"
    with pytest.raises(CircuitError, match="100 parameters and constants"):
        parse(constants + body(".param " + " ".join(f"q{index}=1" for index in range(11))), file="mine.cir")
    functions = "".join(f".func f{index}(x) {{x}}\n" for index in range(51))
    with pytest.raises(CircuitError, match=r"mine\.cir:51: \.func: a netlist may have 50 functions"):
        parse(functions + body(""), file="mine.cir")


def test_a_long_list_of_names_is_cut_in_a_message() -> None:
    sources = "\n".join(f"v{index} a b 1" for index in range(500))
    with pytest.raises(CircuitError, match=r"and 460 more$") as caught:
        parse(body(sources + "\nf1 a b vx 1"), file="mine.cir")
    assert len(str(caught.value)) < 400
