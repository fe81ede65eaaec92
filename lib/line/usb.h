// SPDX-License-Identifier: GPL-3.0-or-later
//
// What stands between a USB adapter and this machine: the hubs on the way, what each asks, and what
// the adapter's place can give. In a library of its own (lw_usb), since libusb would slow down the
// start of every program that does not need it.
#ifndef LW_LINE_USB_H
#define LW_LINE_USB_H

#include "base/error.h"

#include <stdbool.h>

enum {
    LW_USB_DEPTH = 8
}; // root hub, at most 5 hubs, the device (USB 2.0, 4.1.1), and one to spare

enum lw_usb_fed {
    LW_USB_FED_UNKNOWN, // its configuration could not be read
    LW_USB_FED_BUS,
    LW_USB_FED_SELF,
};

// One device on the way, as its descriptors have it.
struct lw_usb_device {
    int port; // of the hub above that it is plugged into; 0 for a root hub
    int vendor_id, product_id;
    int release;              // bcdDevice
    int class_code;           // bDeviceClass; 9 is a hub
    double mbit_per_s;        // 1.5, 12, 480, 5000, ...; 0: not known
    int asks_ma;              // bMaxPower of its configuration; -1: not known
    enum lw_usb_fed declares; // what its configuration declares
    enum lw_usb_fed is;       // what it says now (GET_STATUS); unknown without the right to ask
};

struct lw_usb_way {
    int bus;        // as the system numbers it
    char place[32]; // "1-2.3": bus 1, port 2 of the root hub, port 3 of the hub there
    size_t count;   // devices on the way, at least 1
    struct lw_usb_device devices[LW_USB_DEPTH]; // the root hub first, the adapter last
    int gives_ma;     // what the adapter's place can give at its speed; -1: not known
    int bus_fed_hubs; // on the way, root hub not counted
};

struct lw_usb;

// Takes stock of the devices that are there now. LW_SYSTEM where the system lets nobody look.
// Needs no rights. Close with lw_usb_close(); NULL is allowed.
enum lw_status lw_usb_open(struct lw_usb **usb, struct lw_error *error);
void lw_usb_close(struct lw_usb *usb);

// The way to the device with this number on this bus. False when there is none (it may just have
// been pulled out). Hubs are asked how they are fed where this user may open them, which changes
// nothing in them.
bool lw_usb_way(const struct lw_usb *usb, int bus, int number, struct lw_usb_way *way);

// bMaxPower in mA: units of 2 mA up to 480 Mbit/s, 8 mA from 5 Gbit/s on (USB 2.0, table 9-10;
// USB 3.1, table 9-22).
int lw_usb_asks_ma(int max_power, double mbit_per_s);

// What a port below these hubs can give a device of this speed: a unit load is 100 mA, 150 mA from
// 5 Gbit/s on; a hub that is fed by the bus gives one of them, any other 5 or 6 (USB 2.0, 7.2.1;
// USB 3.1, 11.4.1). A hub behind one that is fed by the bus counts the same, though two of them
// in a row are not allowed. -1 when it is not known how the last hub is fed.
int lw_usb_gives_ma(enum lw_usb_fed last_hub, double mbit_per_s);

#endif
