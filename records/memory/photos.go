package memory

import (
	"bytes"
	"context"
	"maps"
	"slices"

	"caneward/records"
)

// PutPhoto implements records.Photos.
func (s *Store) PutPhoto(ctx context.Context, id records.FarmID, p records.Photo) (bool, error) {
	if err := p.Check(); err != nil {
		return false, err
	}
	created := false
	err := s.change(ctx, func() error {
		f, there := s.farms[id]
		if !there {
			return records.FarmMissing()
		}
		if kept, taken := f.photos[p.ID]; taken {
			if kept.Type != p.Type || !bytes.Equal(kept.Data, p.Data) {
				return records.PhotoTaken()
			}
			return nil
		}
		p.At = records.WholeMicroseconds(s.now())
		p.Data = bytes.Clone(p.Data)
		p.By.Why = ""
		if f.photos == nil {
			f.photos = map[records.ID]records.Photo{}
		}
		f.photos[p.ID] = p
		created = true
		return nil
	})
	return created, err
}

// Photo implements records.Photos.
func (s *Store) Photo(ctx context.Context, id records.FarmID, photo records.ID) (records.Photo, error) {
	s.lock.RLock()
	defer s.lock.RUnlock()
	if err := ctx.Err(); err != nil {
		return records.Photo{}, err
	}
	f, there := s.farms[id]
	if !there {
		return records.Photo{}, records.FarmMissing()
	}
	p, there := f.photos[photo]
	if !there {
		return records.Photo{}, records.PhotoMissing()
	}
	return p, nil
}

// EachPhoto implements records.Photos.
func (s *Store) EachPhoto(ctx context.Context, id records.FarmID, visit func(records.Photo) error) error {
	s.lock.RLock()
	f, there := s.farms[id]
	if !there {
		s.lock.RUnlock()
		return records.FarmMissing()
	}
	photos := maps.Clone(f.photos)
	s.lock.RUnlock()
	for _, id := range slices.Sorted(maps.Keys(photos)) {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := visit(photos[id]); err != nil {
			return err
		}
	}
	return nil
}
