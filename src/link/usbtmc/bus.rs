//! The real bus, by the `nusb` crate: no system library, and on Linux no root where a
//! rule lets the user at the device (the README has one).

use super::{Pipes, Request};
use crate::link::address::Usb;
use crate::link::{LinkError, Pending};
use nusb::transfer::{Buffer, Bulk, ControlIn, ControlType, In, Out, Recipient, TransferError};
use nusb::{Endpoint, Interface};
use std::io;
use std::time::Duration;
use tokio::time::{Instant, timeout_at};

/// Class, subclass of USBTMC (from memory).
const CLASS: (u8, u8) = (0xfe, 0x03);

/// One interface of a device.
pub(super) struct Bus {
    interface: Interface,
    number: u16,
    inward: Endpoint<Bulk, In>,
    outward: Endpoint<Bulk, Out>,
    interrupts: bool,
}

/// Finds the device, and takes its interface from whoever has it.
pub(super) async fn open(usb: &Usb) -> io::Result<Bus> {
    let mut devices = nusb::list_devices().await.map_err(io::Error::other)?;
    let named = |serial: Option<&str>| serial.is_some_and(|s| s == usb.serial);
    let found =
        devices.find(|d| d.vendor_id() == usb.vendor && d.product_id() == usb.product && named(d.serial_number())).ok_or_else(
            || io::Error::new(io::ErrorKind::NotFound, "no device of these numbers and this serial number is on the bus"),
        )?;
    let is_ours = |class: u8, subclass: u8| (class, subclass) == CLASS;
    let number = match usb.interface {
        Some(number) => number,
        None => found
            .interfaces()
            .find(|i| is_ours(i.class(), i.subclass()))
            .map(nusb::InterfaceInfo::interface_number)
            .ok_or_else(|| io::Error::other("the device has no interface for test and measurement"))?,
    };
    let device = found.open().await.map_err(io::Error::other)?;
    let interface = device.detach_and_claim_interface(number).await.map_err(io::Error::other)?;
    let setting = interface.descriptor().ok_or_else(|| io::Error::other("the interface has no description"))?;
    let (mut inward, mut outward, mut interrupts) = (None, None, false);
    for endpoint in setting.endpoints() {
        match (endpoint.transfer_type(), endpoint.direction()) {
            (nusb::descriptors::TransferType::Bulk, nusb::transfer::Direction::In) => inward = Some(endpoint.address()),
            (nusb::descriptors::TransferType::Bulk, nusb::transfer::Direction::Out) => outward = Some(endpoint.address()),
            (nusb::descriptors::TransferType::Interrupt, _) => interrupts = true,
            _ => {}
        }
    }
    let (Some(inward), Some(outward)) = (inward, outward) else {
        return Err(io::Error::other("the interface lacks a bulk pipe"));
    };
    let inward = interface.endpoint::<Bulk, In>(inward).map_err(io::Error::other)?;
    let outward = interface.endpoint::<Bulk, Out>(outward).map_err(io::Error::other)?;
    Ok(Bus { interface, number: u16::from(number), inward, outward, interrupts })
}

fn failed(error: TransferError) -> LinkError {
    match error {
        TransferError::Disconnected => LinkError::Closed { partial: Vec::new() },
        TransferError::Cancelled => LinkError::Timeout { partial: Vec::new() },
        other => LinkError::Io(other.into()),
    }
}

fn left(deadline: Instant) -> Duration {
    deadline.saturating_duration_since(Instant::now()).max(Duration::from_millis(1))
}

impl Pipes for Bus {
    fn write<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, ()> {
        Box::pin(async move {
            // One that was given up is collected first.
            while self.outward.pending() > 0 {
                let done = timeout_at(deadline, self.outward.next_complete()).await;
                done.map_err(|_| LinkError::Timeout { partial: Vec::new() })?.status.map_err(failed)?;
            }
            self.outward.submit(Buffer::from(bytes.to_vec()));
            match timeout_at(deadline, self.outward.next_complete()).await {
                Ok(done) => done.status.map_err(failed),
                Err(_) => {
                    self.outward.cancel_all();
                    Err(LinkError::Timeout { partial: Vec::new() })
                }
            }
        })
    }

    fn read(&mut self, most: usize, deadline: Instant) -> Pending<'_, Vec<u8>> {
        Box::pin(async move {
            if self.inward.pending() == 0 {
                // The bus asks for whole packets.
                let packet = self.inward.max_packet_size().max(1);
                self.inward.submit(Buffer::new(most.next_multiple_of(packet)));
            }
            // It stays under way where this call is given up, and its bytes are the next one's.
            match timeout_at(deadline, self.inward.next_complete()).await {
                Ok(done) => done.status.map(|()| done.buffer.into_vec()).map_err(failed),
                Err(_) => Err(LinkError::Timeout { partial: Vec::new() }),
            }
        })
    }

    fn request(&mut self, request: Request, value: u16, deadline: Instant) -> Pending<'_, Vec<u8>> {
        let (request, length) = request.number();
        let asked = ControlIn {
            control_type: ControlType::Class,
            recipient: Recipient::Interface,
            request,
            value,
            index: self.number,
            length,
        };
        let answer = self.interface.control_in(asked, left(deadline));
        Box::pin(async move { answer.await.map_err(failed) })
    }

    fn clear_halt(&mut self, deadline: Instant) -> Pending<'_, ()> {
        Box::pin(async move {
            self.outward.cancel_all();
            while self.outward.pending() > 0 {
                timeout_at(deadline, self.outward.next_complete())
                    .await
                    .map_err(|_| LinkError::Timeout { partial: Vec::new() })?;
            }
            self.outward.clear_halt().await.map_err(|error| LinkError::Io(io::Error::other(error)))
        })
    }

    fn interrupts(&self) -> bool {
        self.interrupts
    }
}
