package memory_test

import (
	"testing"
	"time"

	"caneward/records/memory"
	"caneward/records/storetest"
)

func TestConformance(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Store { return memory.New(time.Now) })
}
