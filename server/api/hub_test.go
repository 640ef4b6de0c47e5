package api

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

func TestHubKeepsTheNewestOnly(t *testing.T) {
	h := newHub()
	slow, stopSlow := h.watch("a")
	quick, stopQuick := h.watch("a")
	other, stopOther := h.watch("b")
	for _, event := range []int64{2, 3, 5, 4} { // 5 and 4 came from two writers
		h.publish(&lightoffv1.Conversation{Id: "a", LastEvent: event})
		if event == 3 {
			assert.Equal(t, int64(3), (<-quick.news).LastEvent)
		}
	}
	assert.Equal(t, int64(5), (<-slow.news).LastEvent)
	assert.Equal(t, int64(5), (<-quick.news).LastEvent)
	assert.Empty(t, other.news)
	stopSlow()
	h.publish(&lightoffv1.Conversation{Id: "a", LastEvent: 6})
	assert.Empty(t, slow.news)
	assert.Equal(t, int64(6), (<-quick.news).LastEvent)
	stopQuick()
	stopOther()
	assert.Empty(t, h.watchers, "nothing is left behind")
}

func TestRecentIsBounded(t *testing.T) {
	r := newRecent()
	r.put(look{id: "a"}, &lightoffv1.Conversation{Id: "a", LastEvent: 2})
	r.put(look{id: "a"}, &lightoffv1.Conversation{Id: "a", LastEvent: 1})
	assert.NotNil(t, r.get(look{id: "a"}, 2))
	assert.Nil(t, r.get(look{id: "a"}, 1), "an older state replaces none")
	assert.Nil(t, r.get(look{id: "a"}, 3))
	assert.Nil(t, r.get(look{id: "a", locale: "de"}, 2), "it looks different in another language")
	for i := range 2 * maxRecent {
		id := fmt.Sprint(i)
		r.put(look{id: id}, &lightoffv1.Conversation{Id: id, LastEvent: 1})
		assert.NotNil(t, r.get(look{id: id}, 1), "what was put last is there")
	}
	assert.Len(t, r.shown, maxRecent)
}
