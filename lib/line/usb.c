// SPDX-License-Identifier: GPL-3.0-or-later
//
// The USB tree through libusb. It reads descriptors from the system's own copies, so nothing is
// asked of a device that somebody may be using, but for the hubs' one question.
#include "line/usb.h"

#include "base/text.h"

#include <assert.h>
#include <libusb.h>
#include <stdlib.h>

enum { HUB_CLASS = 9, SELF_POWERED_BIT = 0x40, STATUS_SELF_POWERED = 1, ASK_MS = 200 };

static const double SUPER_MBIT = 5000;

struct lw_usb {
    libusb_context *context;
    libusb_device **devices;
    ssize_t count;
};

int lw_usb_asks_ma(int max_power, double mbit_per_s)
{
    return max_power * (mbit_per_s >= SUPER_MBIT ? 8 : 2);
}

int lw_usb_gives_ma(enum lw_usb_fed last_hub, double mbit_per_s)
{
    bool super = mbit_per_s >= SUPER_MBIT;
    int unit_ma = super ? 150 : 100;
    if (last_hub == LW_USB_FED_UNKNOWN) {
        return -1;
    }
    return last_hub == LW_USB_FED_BUS ? unit_ma : unit_ma * (super ? 6 : 5);
}

enum lw_status lw_usb_open(struct lw_usb **usb, struct lw_error *error)
{
    assert(usb);
    struct lw_usb *opened = calloc(1, sizeof *opened);
    if (!opened) {
        return lw_fail(error, LW_MEMORY, "out of memory");
    }
    int failed = libusb_init(&opened->context);
    if (failed) {
        opened->context = NULL;
    } else {
        opened->count = libusb_get_device_list(opened->context, &opened->devices);
        failed = opened->count < 0 ? (int)opened->count : 0;
    }
    if (failed) {
        lw_usb_close(opened);
        return lw_fail(error, failed == LIBUSB_ERROR_NO_MEM ? LW_MEMORY : LW_SYSTEM,
                       "cannot look at the USB devices: %s", libusb_strerror(failed));
    }
    *usb = opened;
    return LW_OK;
}

void lw_usb_close(struct lw_usb *usb)
{
    if (!usb) {
        return;
    }
    if (usb->devices) {
        libusb_free_device_list(usb->devices, 1);
    }
    if (usb->context) {
        libusb_exit(usb->context);
    }
    free(usb);
}

static double speed_of(libusb_device *device)
{
    switch (libusb_get_device_speed(device)) {
    case LIBUSB_SPEED_LOW:
        return 1.5;
    case LIBUSB_SPEED_FULL:
        return 12;
    case LIBUSB_SPEED_HIGH:
        return 480;
    case LIBUSB_SPEED_SUPER:
        return 5000;
    case LIBUSB_SPEED_SUPER_PLUS:
        return 10000;
    default:
        return 0;
    }
}

static void read_configuration(libusb_device *device, struct lw_usb_device *facts)
{
    struct libusb_config_descriptor *configuration = NULL;
    facts->asks_ma = -1;
    if (libusb_get_active_config_descriptor(device, &configuration) != 0) {
        return;
    }
    facts->asks_ma = lw_usb_asks_ma(configuration->MaxPower, facts->mbit_per_s);
    facts->declares =
        configuration->bmAttributes & SELF_POWERED_BIT ? LW_USB_FED_SELF : LW_USB_FED_BUS;
    libusb_free_config_descriptor(configuration);
}

// GET_STATUS of the device (USB 2.0, 9.4.5): bit 0 says how it is fed now. A hub that can do both
// declares itself self-powered while its supply is unplugged.
static enum lw_usb_fed ask_status(libusb_device *device)
{
    libusb_device_handle *handle = NULL;
    unsigned char status[2] = {0};
    if (libusb_open(device, &handle) != 0) {
        return LW_USB_FED_UNKNOWN;
    }
    int got = libusb_control_transfer(handle, LIBUSB_ENDPOINT_IN, LIBUSB_REQUEST_GET_STATUS, 0, 0,
                                      status, sizeof status, ASK_MS);
    libusb_close(handle);
    if (got != (int)sizeof status) {
        return LW_USB_FED_UNKNOWN;
    }
    return status[0] & STATUS_SELF_POWERED ? LW_USB_FED_SELF : LW_USB_FED_BUS;
}

static void read_device(libusb_device *device, struct lw_usb_device *facts)
{
    struct libusb_device_descriptor descriptor = {0};
    libusb_get_device_descriptor(device, &descriptor);
    *facts = (struct lw_usb_device){
        .port = libusb_get_port_number(device),
        .vendor_id = descriptor.idVendor,
        .product_id = descriptor.idProduct,
        .release = descriptor.bcdDevice,
        .class_code = descriptor.bDeviceClass,
        .mbit_per_s = speed_of(device),
    };
    read_configuration(device, facts);
    if (facts->class_code == HUB_CLASS && facts->port != 0) {
        facts->is = ask_status(device);
    }
}

// How a hub is fed: what it says now, else what it declares. A root hub is this machine itself.
static enum lw_usb_fed fed(const struct lw_usb_device *hub)
{
    if (hub->port == 0) {
        return LW_USB_FED_SELF;
    }
    return hub->is != LW_USB_FED_UNKNOWN ? hub->is : hub->declares;
}

static void name_place(struct lw_usb_way *way)
{
    lw_print(way->place, sizeof way->place, "%d", way->bus);
    for (size_t i = 1; i < way->count; i++) {
        char before[sizeof way->place];
        lw_copy(before, sizeof before, way->place);
        lw_print(way->place, sizeof way->place, "%s%c%d", before, i == 1 ? '-' : '.',
                 way->devices[i].port);
    }
}

static void judge_place(struct lw_usb_way *way)
{
    way->gives_ma = -1;
    for (size_t i = 0; i + 1 < way->count; i++) {
        way->bus_fed_hubs += fed(&way->devices[i]) == LW_USB_FED_BUS;
    }
    if (way->count > 1) {
        way->gives_ma = lw_usb_gives_ma(fed(&way->devices[way->count - 2]),
                                        way->devices[way->count - 1].mbit_per_s);
    }
}

bool lw_usb_way(const struct lw_usb *usb, int bus, int number, struct lw_usb_way *way)
{
    assert(usb && way);
    *way = (struct lw_usb_way){.bus = bus};
    libusb_device *found = NULL, *above[LW_USB_DEPTH];
    for (ssize_t i = 0; i < usb->count; i++) {
        libusb_device *device = usb->devices[i];
        if (libusb_get_bus_number(device) == bus && libusb_get_device_address(device) == number) {
            found = device;
        }
    }
    for (libusb_device *at = found; at && way->count < LW_USB_DEPTH; at = libusb_get_parent(at)) {
        above[way->count++] = at;
    }
    for (size_t i = 0; i < way->count; i++) {
        read_device(above[way->count - 1 - i], &way->devices[i]);
    }
    name_place(way);
    judge_place(way);
    return found != NULL;
}
