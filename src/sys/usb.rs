//! Which USB adapter a serial device is, so that it is found again when it comes back
//! under another name. From sysfs (Linux, Documentation/ABI/testing/sysfs-bus-usb);
//! elsewhere nothing is known, and a device is found by its name alone.

use std::path::{Path, PathBuf};

/// Where the system lists its serial devices.
const LIST: &str = "/sys/class/tty";

/// Vendor, product, serial number and interface of the adapter behind a serial device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UsbIdentity(String);

impl UsbIdentity {
    /// Of the device at a path; `None`: it is no USB adapter, or is not there.
    pub fn of(device: &Path) -> Option<Self> {
        let real = std::fs::canonicalize(device).ok()?;
        Self::listed(&Path::new(LIST).join(real.file_name()?))
    }

    /// The path of the only device that is this one.
    pub fn find(&self) -> Option<PathBuf> {
        self.find_in(Path::new(LIST), Path::new("/dev"))
    }

    fn listed(entry: &Path) -> Option<Self> {
        let place = std::fs::canonicalize(entry.join("device")).ok()?;
        let text = |folder: &Path, name: &str| std::fs::read_to_string(folder.join(name)).ok().map(|text| text.trim().to_owned());
        let interface = place.ancestors().find_map(|folder| text(folder, "bInterfaceNumber")).unwrap_or_default();
        let adapter = place.ancestors().find(|folder| folder.join("idVendor").is_file())?;
        let (vendor, product) = (text(adapter, "idVendor")?, text(adapter, "idProduct")?);
        let serial = text(adapter, "serial").unwrap_or_default();
        Some(Self(format!("{vendor}:{product}:{serial}:{interface}")))
    }

    fn find_in(&self, list: &Path, devices: &Path) -> Option<PathBuf> {
        let entries = std::fs::read_dir(list).ok()?.filter_map(Result::ok);
        let mut same = entries.map(|e| e.path()).filter(|path| Self::listed(path).as_ref() == Some(self));
        let found = same.next()?;
        // Two adapters of one kind without serial numbers cannot be told apart.
        if same.next().is_some() {
            return None;
        }
        Some(devices.join(found.file_name()?))
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;
    use std::fs;

    /// As the kernel lays it out: the class points into the tree of devices.
    fn plug(root: &Path, name: &str, port: &str, serial: Option<&str>) {
        let adapter = root.join("devices").join(port);
        let interface = adapter.join(format!("{port}:1.0"));
        let tty = interface.join(name);
        fs::create_dir_all(&tty).unwrap();
        fs::write(adapter.join("idVendor"), "0403\n").unwrap();
        fs::write(adapter.join("idProduct"), "6001\n").unwrap();
        if let Some(serial) = serial {
            fs::write(adapter.join("serial"), format!("{serial}\n")).unwrap();
        }
        fs::write(interface.join("bInterfaceNumber"), "00\n").unwrap();
        let entry = root.join("class").join(name);
        fs::create_dir_all(&entry).unwrap();
        std::os::unix::fs::symlink(&tty, entry.join("device")).unwrap();
    }

    #[test]
    fn an_adapter_is_found_under_its_new_name() {
        let root = tempfile::tempdir().unwrap();
        let (list, devices) = (root.path().join("class"), Path::new("/dev"));
        plug(root.path(), "ttyUSB0", "1-1", Some("A1"));
        plug(root.path(), "ttyUSB1", "1-2", Some("B2"));
        let known = UsbIdentity::listed(&list.join("ttyUSB0")).unwrap();
        assert_eq!(known.find_in(&list, devices), Some("/dev/ttyUSB0".into()));
        // Pulled out and put in at another port, after the other has taken its name.
        fs::remove_dir_all(list.join("ttyUSB0")).unwrap();
        fs::remove_dir_all(root.path().join("devices/1-1")).unwrap();
        assert_eq!(known.find_in(&list, devices), None);
        plug(root.path(), "ttyUSB7", "2-3", Some("A1"));
        assert_eq!(known.find_in(&list, devices), Some("/dev/ttyUSB7".into()));
    }

    #[test]
    fn two_that_cannot_be_told_apart_are_not_guessed_between() {
        let root = tempfile::tempdir().unwrap();
        let list = root.path().join("class");
        plug(root.path(), "ttyUSB0", "1-1", None);
        plug(root.path(), "ttyUSB1", "1-2", None);
        let known = UsbIdentity::listed(&list.join("ttyUSB0")).unwrap();
        assert_eq!(known.find_in(&list, Path::new("/dev")), None);
        assert_eq!(UsbIdentity::of(Path::new("/dev/null")), None);
    }
}
