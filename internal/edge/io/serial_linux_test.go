package edgeio

import (
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"os"
	"syscall"
	"testing"
	"unsafe"

	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
)

// crcOf is the check of a frame on a serial line: MODBUS over Serial Line,
// Specification and Implementation Guide V1.02 (Modbus Organization, 2006), section
// 6.2.2.
func crcOf(frame []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			odd := crc&1 != 0
			crc >>= 1
			if odd {
				crc ^= 0xA001
			}
		}
	}
	return crc
}

// TestCRC: the specification's example, from memory: of address 2 and function 7 the
// register holds 0x1241, and the low byte, 0x41, is sent first.
func TestCRC(t *testing.T) {
	if got := crcOf([]byte{2, 7}); got != 0x1241 {
		t.Errorf("CRC is %#x, want 0x1241", got)
	}
}

// serialLine is a serial line within this machine: what is written to one end is read at
// the other.
func serialLine(t *testing.T) (near *os.File, far string) {
	t.Helper()
	near, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("SKIPPED: no serial line can be made here (%v): Modbus on one was not tried", err)
	}
	t.Cleanup(func() { near.Close() })
	var unlocked, n int32
	for request, arg := range map[uintptr]*int32{syscall.TIOCSPTLCK: &unlocked, syscall.TIOCGPTN: &n} {
		if _, _, e := syscall.Syscall(syscall.SYS_IOCTL, near.Fd(), request, uintptr(unsafe.Pointer(arg))); e != 0 {
			t.Fatal(e)
		}
	}
	return near, fmt.Sprintf("/dev/pts/%d", n)
}

// slave answers on a serial line what a server on the network answers: a frame has
// another beginning there, and a check at its end.
func slave(line io.ReadWriter, server net.Conn) error {
	const request = 8 // of the functions that read, and of those that write one
	for n := uint16(1); ; n++ {
		in := make([]byte, request)
		if _, err := io.ReadFull(line, in); err != nil {
			return err
		}
		body := in[:request-2]
		if got, want := binary.LittleEndian.Uint16(in[request-2:]), crcOf(body); got != want {
			return fmt.Errorf("a frame %x with the check %#x, want %#x", body, got, want)
		}
		head := binary.BigEndian.AppendUint16(nil, n)
		head = binary.BigEndian.AppendUint16(head, 0) // the protocol
		head = binary.BigEndian.AppendUint16(head, uint16(len(body)))
		if _, err := server.Write(append(head, body...)); err != nil {
			return err
		}
		if _, err := io.ReadFull(server, head); err != nil {
			return err
		}
		answer := make([]byte, binary.BigEndian.Uint16(head[4:]))
		if _, err := io.ReadFull(server, answer); err != nil {
			return err
		}
		if _, err := line.Write(binary.LittleEndian.AppendUint16(answer, crcOf(answer))); err != nil {
			return err
		}
	}
}

// TestSerial reads and drives a Modbus device of another library on a serial line.
func TestSerial(t *testing.T) {
	device := &box{inputs: [8]bool{2: true}, register: [8]uint16{5: 1834}}
	there := newPlace(t, device)
	near, far := serialLine(t)
	server, err := net.Dial("tcp", there.address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { server.Close() })
	answered := make(chan error, 1)
	go func() { answered <- slave(near, server) }() // ends with the line
	b := open(t, fmt.Sprintf(`
modbus: {box: {url: "rtu://%s", unit: 3, baud: 115200, timeout: 1 s}}
inputs:
  watch: {modbus: box, discrete: 2}
  ceiling: {modbus: box, discrete: 3}
outputs:
  pump: {modbus: box, coil: 0}
`, far))
	eventually(t, "the device is read", func() bool {
		in, err := b.Read(t.Context())
		g := in.Guard()
		return err == nil && g.Watch == guard.Wet && g.Ceiling == guard.Dry
	})
	for _, on := range []bool{true, false} {
		eventually(t, fmt.Sprintf("the pump's coil being %v", on), func() bool {
			if err := b.Drive(t.Context(), lease.Outputs{Pump: on}); err != nil {
				return false
			}
			device.mu.Lock()
			defer device.mu.Unlock()
			return device.coils[0] == on
		})
	}
	select {
	case err := <-answered:
		t.Errorf("the device on the line gave up: %v", err)
	default:
	}
}
