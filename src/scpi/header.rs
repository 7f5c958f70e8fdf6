//! Headers in short and long form (SCPI-1999 6.2.1): `SYSTem:ERRor[:NEXT]`.

/// A header as it is documented: capitals are the short form, brackets the parts
/// that may be left out, `#` a number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Header {
    nodes: Vec<Node>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Node {
    long: String,
    short: String,
    optional: bool,
    numbered: bool,
}

impl Header {
    /// From its documented form, as `[SOURce:]VOLTage[:LEVel]` or `OUTPut#[:STATe]`.
    pub fn new(documented: &str) -> Self {
        let mut nodes = Vec::new();
        let mut optional = false;
        for part in documented.split_inclusive([':', '[', ']']) {
            let name = part.trim_end_matches([':', '[', ']']);
            if !name.is_empty() {
                let numbered = name.ends_with('#');
                let name = name.trim_end_matches('#');
                nodes.push(Node {
                    long: name.to_ascii_uppercase(),
                    short: name.chars().filter(|c| !c.is_ascii_lowercase()).collect(),
                    optional,
                    numbered,
                });
            }
            match part.chars().last() {
                Some('[') => optional = true,
                Some(']') => optional = false,
                _ => {}
            }
        }
        Self { nodes }
    }

    /// Whether mnemonics, as received, are this header, each exactly in its long
    /// or its short form, case aside. Returns the numbers in it (1 where one is
    /// left out, SCPI-1999 6.2.5.2).
    pub fn matches(&self, received: &[String]) -> Option<Vec<u32>> {
        fn go(nodes: &[Node], received: &[String], numbers: &mut Vec<u32>) -> bool {
            let Some((node, rest)) = nodes.split_first() else { return received.is_empty() };
            if let Some((first, others)) = received.split_first()
                && let Some(number) = node.matches(first)
            {
                let before = numbers.len();
                if node.numbered {
                    numbers.push(number);
                }
                if go(rest, others, numbers) {
                    return true;
                }
                numbers.truncate(before);
            }
            if node.optional {
                let before = numbers.len();
                if node.numbered {
                    numbers.push(1);
                }
                if go(rest, received, numbers) {
                    return true;
                }
                numbers.truncate(before);
            }
            false
        }
        let mut numbers = Vec::new();
        go(&self.nodes, received, &mut numbers).then_some(numbers)
    }

    /// The short form, without the parts that may be left out.
    pub fn short(&self) -> String {
        self.spelled(|n| &n.short, false)
    }

    /// The long form, with every part.
    pub fn long(&self) -> String {
        self.spelled(|n| &n.long, true)
    }

    fn spelled(&self, form: impl Fn(&Node) -> &String, all: bool) -> String {
        let parts: Vec<&str> = self.nodes.iter().filter(|n| all || !n.optional).map(|n| form(n).as_str()).collect();
        parts.join(":")
    }
}

impl Node {
    fn matches(&self, mnemonic: &str) -> Option<u32> {
        let upper = mnemonic.to_ascii_uppercase();
        let (name, digits) = if self.numbered {
            upper.split_at(upper.trim_end_matches(|c: char| c.is_ascii_digit()).len())
        } else {
            (upper.as_str(), "")
        };
        if name != self.long && name != self.short {
            return None;
        }
        if digits.is_empty() { Some(1) } else { digits.parse().ok() }
    }
}
