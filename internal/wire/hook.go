package wire

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"isohaline/internal/problem"
)

// hook is the front door inside the broker. The broker reads a connection's
// packets one after another in one goroutine and calls the hook from it; a PUBLISH
// is acknowledged when OnPublish has returned.
type hook struct {
	mqtt.HookBase
	door *FrontDoor
}

// ID names the hook for the broker.
func (*hook) ID() string { return "front door" }

// Provides lists what the hook does.
func (*hook) Provides(what byte) bool {
	switch what {
	case mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnSessionEstablished, mqtt.OnDisconnect,
		mqtt.OnPacketRead, mqtt.OnPacketEncode, mqtt.OnPublish, mqtt.OnWill:
		return true
	}
	return false
}

// OnConnectAuthenticate lets a device in.
func (h *hook) OnConnectAuthenticate(client *mqtt.Client, packet packets.Packet) bool {
	c, ok := client.Net.Conn.(*conn)
	if !ok {
		return false
	}
	dev, ok := h.door.o.Authenticate(client.ID, string(packet.Connect.Username), packet.Connect.Password)
	if !ok {
		h.door.refuse(Refusal{ClientID: client.ID}, &Problem{BadCredentials, problem.Problem{Field: "client id", Value: client.ID, Why: "is not known with this user and password",
			Fix: "use the client id, user and password from the device's page, all three"}})
		return false
	}
	c.own(dev)
	return true
}

// OnSessionEstablished counts a device in.
func (h *hook) OnSessionEstablished(client *mqtt.Client, _ packets.Packet) {
	h.door.Counters.Connections.Add(1)
	h.door.o.Logger.Debug("device connected", "device", device(client), "client", client.ID, "from", client.Net.Remote)
}

// OnDisconnect counts a device out, and makes seen what the broker ended the
// connection for: a packet so large that it was not even read, or one against the
// rules of MQTT, like a wildcard in the topic of a message.
func (h *hook) OnDisconnect(client *mqtt.Client, err error, _ bool) {
	h.door.Counters.Connections.Add(-1)
	h.door.o.Logger.Debug("device disconnected", "device", device(client), "client", client.ID, "cause", err)
	var code packets.Code
	if !errors.As(err, &code) || code.Code < packets.ErrUnspecifiedError.Code || code == packets.ErrRejectPacket {
		return
	}
	p := &Problem{Malformed, problem.Problem{Field: "packet", Value: code.Reason, Why: "is against the rules of MQTT", Fix: "correct the client"}}
	if code == packets.ErrPacketTooLarge {
		p = unread()
	}
	h.door.refuse(Refusal{Device: device(client), ClientID: client.ID}, p)
}

// OnACLCheck lets every publish through to OnPublish, which knows more and can
// say why not, and no subscription: devices have nothing to read here.
func (h *hook) OnACLCheck(client *mqtt.Client, topic string, write bool) bool {
	if !write {
		h.door.refuse(Refusal{Device: device(client), ClientID: client.ID, Topic: topic}, &Problem{NoSubscribing, problem.Problem{Field: "topic", Value: topic, Why: "cannot be subscribed to", Fix: "publish only"}})
	}
	return write
}

// OnPacketEncode tells an MQTT 5 device the largest message beforehand.
func (*hook) OnPacketEncode(_ *mqtt.Client, packet packets.Packet) packets.Packet {
	if packet.FixedHeader.Type == packets.Connack {
		packet.Properties.MaximumPacketSize = maxPacket
	}
	return packet
}

// OnPacketRead catches what the broker would drop without a word: a publish to
// its own $SYS topics.
func (h *hook) OnPacketRead(client *mqtt.Client, packet packets.Packet) (packets.Packet, error) {
	if packet.FixedHeader.Type == packets.Publish && strings.HasPrefix(packet.TopicName, "$") {
		h.no(client, packet, notYours(device(client), packet.TopicName))
		client.Stop(packets.ErrNotAuthorized)
		return packet, packets.ErrRejectPacket
	}
	return packet, nil
}

// OnWill keeps a will from being stored: silence is found from the readings.
func (*hook) OnWill(_ *mqtt.Client, will mqtt.Will) (mqtt.Will, error) {
	will.Retain = false
	return will, nil
}

// OnPublish takes a message or refuses it. It returns after the log has
// acknowledged, and the broker acknowledges to the device after that. Meanwhile
// the device's next packet waits: that is the backpressure.
func (h *hook) OnPublish(client *mqtt.Client, packet packets.Packet) (packets.Packet, error) {
	h.door.count(packet.Payload)
	readings, err := h.read(device(client), packet)
	if err == nil {
		err = h.door.append(context.Background(), readings)
	}
	switch {
	case err == nil:
		return packet, packets.CodeSuccessIgnore // acknowledge, and neither retain nor pass on
	case ReasonOf(err) == LogUnavailable:
		h.later(client, packet, err)
	default:
		h.no(client, packet, err)
	}
	return packet, packets.ErrRejectPacket // says nothing: what there is to say has been said
}

// read makes readings of a message.
func (h *hook) read(dev DeviceID, packet packets.Packet) ([]Reading, error) {
	word, ok := strings.CutPrefix(packet.TopicName, Root+"/"+dev.String()+"/")
	if !ok || word == "" {
		return nil, notYours(dev, packet.TopicName)
	}
	profile, now := h.door.profile(dev), time.Now()
	if word == BodyWord {
		return ReadBody(dev, profile, packet.Payload, now)
	}
	return ReadPlain(dev, profile, word, packet.Payload, now)
}

func notYours(dev DeviceID, topic string) error {
	return &Problem{NotYours, problem.Problem{Field: "topic", Value: topic, Why: "is not this device's",
		Fix: fmt.Sprintf("publish to %s/%s/%s", Root, dev, BodyWord)}}
}

// no refuses a message for good. An MQTT 5 device is told in the acknowledgement
// and goes on. MQTT 3.1.1 has no negative acknowledgement: a server must either
// acknowledge or close the connection (section 3.3.5), so it is closed; where
// nothing is to be acknowledged, at QoS 0, it stays open.
func (h *hook) no(client *mqtt.Client, packet packets.Packet, err error) {
	h.door.refuse(Refusal{Device: device(client), ClientID: client.ID, Topic: packet.TopicName}, err)
	switch {
	case packet.FixedHeader.Qos == 0:
	case client.Properties.ProtocolVersion < 5:
		client.Stop(err)
	default:
		ack := packets.Packet{
			FixedHeader: packets.FixedHeader{Type: packets.Puback},
			PacketID:    packet.PacketID,
			ReasonCode:  reasonCode(ReasonOf(err)),
			Properties:  packets.Properties{ReasonString: err.Error()},
		}
		if packet.FixedHeader.Qos == 2 {
			ack.FixedHeader.Type = packets.Pubrec
		}
		if err := client.WritePacket(ack); err != nil {
			client.Stop(err)
		}
	}
}

// later refuses a message for now: the log did not take it. A negative
// acknowledgement would make an MQTT 5 device forget the message, so the
// connection is closed, in both versions: what is not acknowledged is sent again.
func (h *hook) later(client *mqtt.Client, packet packets.Packet, err error) {
	h.door.refuse(Refusal{Device: device(client), ClientID: client.ID, Topic: packet.TopicName}, err)
	if packet.FixedHeader.Qos == 0 {
		return
	}
	if client.Properties.ProtocolVersion >= 5 {
		_ = h.door.broker.DisconnectClient(client, packets.ErrServerBusy) // closed in any case
	}
	client.Stop(err)
}

// reasonCode is the reason in the codes that MQTT 5 has for a PUBACK (section
// 3.4.2.1).
func reasonCode(r Reason) byte {
	switch r {
	case NotYours:
		return packets.ErrNotAuthorized.Code
	case TooLarge:
		return packets.ErrQuotaExceeded.Code
	case Malformed, UnknownChannel, WrongUnit, OutOfRange:
		return packets.ErrPayloadFormatInvalid.Code
	}
	return packets.ErrImplementationSpecificError.Code
}

// device is who is connected here.
func device(client *mqtt.Client) DeviceID {
	if c, ok := client.Net.Conn.(*conn); ok {
		return c.owner()
	}
	return DeviceID{}
}
