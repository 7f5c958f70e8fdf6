//! A supply and a meter from another code base: plain sockets and threads, nothing
//! of this crate. A vent relay's board of 560 ohm hangs on rail 2.

use std::io::{BufRead, BufReader, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What stands on the bench, and what has happened to it.
#[derive(Default)]
pub struct Bench {
    rail: usize,
    level: [f64; 2],
    ceiling: [f64; 2],
    /// `false`: the rail is live. Both start live, as if somebody had left them so.
    disabled: [bool; 2],
    complaint: Option<&'static str>,
    span: f64,
    /// Ohms of the unit; less once it has broken down.
    ohms: f64,
    /// How often rail 2 went live, and all that was set on it.
    pub times_live: u32,
    pub levels: Vec<f64>,
    pub ceilings: Vec<f64>,
    /// From this many times live on the unit is a short.
    pub breaks_at: Option<u32>,
    /// The supply holds back the answer of this question, counted from 1.
    pub late: Option<u32>,
    asked: u32,
    meter: Option<TcpStream>,
}

impl Bench {
    pub fn new() -> Arc<Mutex<Self>> {
        let bench = Self { ohms: 560.0, span: 0.5, ceiling: [2.0, 2.0], ..Self::default() };
        Arc::new(Mutex::new(bench))
    }

    pub fn is_live(&self) -> bool {
        !self.disabled[1]
    }

    /// Pulls the meter's cable.
    pub fn cut_meter(&mut self) {
        if let Some(wire) = self.meter.take() {
            wire.shutdown(Shutdown::Both).unwrap();
        }
    }

    /// Volts and amperes on a rail, and whether its ceiling holds it down.
    fn draws(&self, rail: usize) -> (f64, f64, bool) {
        if self.disabled[rail] {
            return (0.0, 0.0, false);
        }
        let ohms = match (rail, self.breaks_at) {
            (1, Some(at)) if self.times_live >= at => 2.0,
            (1, _) => self.ohms,
            _ => 1e9,
        };
        let amperes = self.level[rail] / ohms;
        if amperes > self.ceiling[rail] {
            (self.ceiling[rail] * ohms, self.ceiling[rail], true)
        } else {
            (self.level[rail], amperes, false)
        }
    }

    fn supply(&mut self, line: &str) -> Option<String> {
        let (word, value) = line.split_once(' ').unwrap_or((line, ""));
        let number: f64 = value.parse().unwrap_or(f64::NAN);
        let rail = self.rail;
        match word {
            "*IDN?" => return Some("GREENHOUSE WORKS,VENT SUPPLY,G-17,2.4".into()),
            "SYSTEM:ERROR?" => return Some(self.complaint.take().unwrap_or("+0,\"No error\"").into()),
            "ROUTE:RAIL" => match value {
                "R1" => self.rail = 0,
                "R2" => self.rail = 1,
                _ => self.complaint = Some("-224,\"Illegal parameter value\""),
            },
            "ROUTE:RAIL:NUMBER?" => return Some((rail + 1).to_string()),
            "SOURCE:LEVEL" if (0.0..=30.0).contains(&number) => {
                self.level[rail] = number;
                if rail == 1 {
                    self.levels.push(number);
                }
            }
            "SOURCE:CEILING" if (0.0..=2.0).contains(&number) => {
                self.ceiling[rail] = number;
                if rail == 1 {
                    self.ceilings.push(number);
                }
            }
            "SOURCE:LEVEL" | "SOURCE:CEILING" => self.complaint = Some("-222,\"Data out of range\""),
            "SOURCE:LEVEL?" => return Some(format!("{:.2} V", self.level[rail])),
            "SOURCE:CEILING?" => return Some(format!("{:.3} A", self.ceiling[rail])),
            "RAIL:DISABLE" => {
                let disable = value == "1";
                if self.disabled[rail] && !disable && rail == 1 {
                    self.times_live += 1;
                }
                self.disabled[rail] = disable;
            }
            "RAIL:DISABLE?" => return Some(u8::from(self.disabled[rail]).to_string()),
            "RAIL:HOLDS?" => return Some(if self.draws(rail).2 { "CURRENT" } else { "VOLTAGE" }.into()),
            "SENSE:VOLTS?" => return Some(format!("{:.3} V", self.draws(rail).0)),
            "SENSE:AMPS?" => return Some(format!("{:.1} mA", self.draws(rail).1 * 1e3)),
            _ => self.complaint = Some("-113,\"Undefined header\""),
        }
        None
    }

    fn meter(&mut self, line: &str) -> Option<String> {
        let (word, value) = line.split_once(' ').unwrap_or((line, ""));
        match word {
            "*IDN?" => Some("GREENHOUSE WORKS,VENT METER,G-18,1.1".into()),
            "SYSTEM:ERROR?" => Some(self.complaint.take().unwrap_or("+0,\"No error\"").into()),
            "SPAN" => {
                self.span = value.parse().unwrap();
                None
            }
            "SPAN?" => Some(format!("{:.2} A", self.span)),
            "SHOW?" => {
                let amperes = self.draws(1).1;
                Some(if amperes > 1.2 * self.span { "BEYOND SPAN".into() } else { format!("{:.4} mA", amperes * 1e3) })
            }
            "FUNCTION" | "SPEED" => None,
            _ => {
                self.complaint = Some("-113,\"Undefined header\"");
                None
            }
        }
    }
}

/// Starts the supply and the meter, and returns their ports.
pub fn start(bench: &Arc<Mutex<Bench>>) -> (u16, u16) {
    let listen = |is_supply: bool| {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let bench = bench.clone();
        std::thread::spawn(move || {
            for client in listener.incoming().map_while(Result::ok) {
                let bench = bench.clone();
                std::thread::spawn(move || serve(client, is_supply, &bench));
            }
        });
        port
    };
    (listen(true), listen(false))
}

fn serve(client: TcpStream, is_supply: bool, bench: &Mutex<Bench>) {
    client.set_nodelay(true).unwrap();
    let mut writer = client.try_clone().unwrap();
    if !is_supply {
        bench.lock().unwrap().meter = Some(client.try_clone().unwrap());
    }
    for line in BufReader::new(client).lines().map_while(Result::ok) {
        let (answer, late) = {
            let mut bench = bench.lock().unwrap();
            let answer = if is_supply { bench.supply(&line) } else { bench.meter(&line) };
            let counts = is_supply && answer.is_some();
            bench.asked += u32::from(counts);
            (answer, counts && bench.late == Some(bench.asked))
        };
        if late {
            // Longer than the profile's time-out of 800 ms.
            std::thread::sleep(Duration::from_millis(1100));
        }
        if let Some(answer) = answer
            && writer.write_all(format!("{answer}\r\n").as_bytes()).is_err()
        {
            return;
        }
    }
}
