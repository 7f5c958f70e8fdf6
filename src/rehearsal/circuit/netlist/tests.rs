//! Netlists that are right, and netlists with mistakes in known places.

use super::*;

fn read(text: &str) -> Result<Netlist, Problems> {
    Netlist::read(&Document::new("test.cir", text))
}

#[test]
fn mistakes_are_named_with_line_and_column() {
    for (text, line, column, words) in [
        ("t\nr1 a 0 1k5\n", 2, 8, "1k5 is not understood"),
        ("t\nr1 a\n", 2, 4, "r1 lacks nodes"),
        ("t\nr1 a 0 1k\nc1 a 0\n", 3, 6, "c1 lacks its value"),
        ("t\nd1 a 0 dx\n", 2, 8, "there is no .model dx D"),
        ("t\nq1 a b c npn\n", 2, 1, "elements of type Q are not covered"),
        ("t\nx1 a 0 part\n", 2, 8, "there is no subcircuit part"),
        ("t\nr1 a 0 1k\nr1 a 0 2k\n", 3, 1, "there are two r1"),
        ("t\nv1 a 0 pulse(0)\n", 2, 8, "PULSE lacks its levels"),
        ("t\nv1 a 0\n+ pwl(0 0 1 1\n+ 1 2)\n", 4, 3, "does not come after"),
        ("t\nr1 a 0 1\n.tran 1\n", 3, 7, ".tran lacks its times"),
        ("t\nr1 a 0 1\n.tran 1 1 2\n", 3, 9, ".tran: 1 will not do"),
        ("t\nr1 a 0 1\n.ic v(b)=1\n", 3, 7, "there is no node b"),
        ("t\nr1 a 0 1\n.temp 50\n", 3, 7, "27 degC"),
        ("t\n.subckt s a b\nr1 a b 1\n", 2, 1, "has no .ends"),
        ("t\n.model m npn(bf=100)\nr1 a 0 1\n", 2, 10, "type npn is not covered"),
        ("t\n.include other.lib\nr1 a 0 1\n", 2, 1, ".include is not covered"),
        ("t\nr1 a 0 {x*2}\n", 2, 8, "is not understood"),
        ("t\nc1 a 0 0\n", 2, 8, "c1 cannot be 0"),
    ] {
        let problems = read(text).expect_err(text);
        let first = problems.iter().next().unwrap();
        assert_eq!(first.line_column(), Some((line, column)), "{text}: {first:?}");
        assert!(first.title.contains(words), "{text}: {}", first.title);
        assert!(first.label.starts_with("expected"), "{text}: {}", first.label);
    }
}

#[test]
fn what_is_left_out_is_noted_and_what_only_prints_is_not() {
    let netlist = read(
        "title\nv1 a 0 5\nr1 a 0 1k tc=1m\n.options reltol=1e-4\n.print tran v(a)\n.op\n.control\ntran 1u 1m\nrun\n.endc\n.model m d(mfg=somebody is=1e-14)\n.end\nnonsense\n",
    )
    .unwrap();
    assert_eq!(netlist.title, "title");
    let titles: Vec<&str> = netlist.notes.iter().map(|n| n.title.as_str()).collect();
    assert_eq!(titles.len(), 5, "{titles:?}");
    assert_eq!(netlist.analysis.unwrap().stop, Seconds(1e-3));
}

#[test]
fn subcircuits_carry_parameters_and_their_own_nodes() {
    let netlist = read(
        "t\n.param big=2k\n.subckt div in out r=1k\nr1 in mid {r}\nr2 mid out {r*2}\nx1 out leak\n.ends\n.subckt leak a\nr9 a 0 1meg\n.ends\nx1 a b div r={big}\nx2 b 0 div\nv1 a 0 1\n",
    )
    .unwrap();
    let names: Vec<&str> = netlist.circuit.parts().map(|(_, name, _)| name).collect();
    assert_eq!(names, ["r.x1.r1", "r.x1.r2", "r.x1.x1.r9", "r.x2.r1", "r.x2.r2", "r.x2.x1.r9", "v1"]);
    let values: Vec<f64> = netlist
        .circuit
        .parts()
        .filter_map(|(_, _, kind)| if let crate::rehearsal::circuit::Kind::Resistor(r) = kind { Some(*r) } else { None })
        .collect();
    assert_eq!(values, [2e3, 4e3, 1e6, 1e3, 2e3, 1e6]);
    assert!(netlist.circuit.find("x1.mid").is_some());
}

#[test]
fn a_subcircuit_that_contains_itself_is_refused() {
    let problems = read("t\n.subckt s a\nx1 a s\n.ends\nx1 n s\n").expect_err("refused");
    assert!(problems.iter().any(|p| p.title.contains("contains itself")));
}
