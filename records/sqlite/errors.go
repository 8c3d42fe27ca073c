package sqlite

import (
	"errors"
	"syscall"

	"github.com/mattn/go-sqlite3"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

var (
	noRoom = words.New("sqlite-no-room",
		"There is no room left on the server's disk, so nothing was stored. Reading goes on. Free some space and send it again.",
		"No queda espacio en el disco del servidor, así que no se guardó nada. La lectura sigue. Libere espacio y envíelo de nuevo.")
	servedAlready = words.New("sqlite-served-already",
		"Another server serves {dir} already.",
		"Otro servidor ya sirve {dir}.")
	schemaNewer = words.New("sqlite-schema-newer",
		"The records in {file} were written by a newer version of this program (layout {found}; this one knows up to {known}). Use that version.",
		"Los registros de {file} los escribió una versión más nueva de este programa (formato {found}; esta conoce hasta {known}). Use esa versión.")
	schemaOlder = words.New("sqlite-schema-older",
		"The records in {file} have an older layout ({found}; this program writes {known}). Start the server once to bring them up to date.",
		"Los registros de {file} tienen un formato anterior ({found}; este programa escribe {known}). Arranque el servidor una vez para actualizarlos.")
	fileForeign = words.New("sqlite-file-foreign",
		"{file} holds no farm records of this program.",
		"{file} no contiene registros de fincas de este programa.")
	noFile = words.New("sqlite-no-file",
		"There are no records in {dir}.",
		"No hay registros en {dir}.")
	targetTaken = words.New("sqlite-target-taken",
		"{file} exists already; nothing was overwritten.",
		"{file} ya existe; no se sobrescribió nada.")
	folderNotEmpty = words.New("sqlite-folder-not-empty",
		"{dir} is not empty; a copy is restored only into an empty or a new folder.",
		"{dir} no está vacía; una copia solo se restaura en una carpeta vacía o nueva.")
	fileDamaged = words.New("sqlite-file-damaged",
		"{file} is damaged: {what}",
		"{file} está dañado: {what}")
)

// translate turns what the driver says into a refusal where there is one for
// it. Codes decide, never the text of a message.
func translate(err error) error {
	var e sqlite3.Error
	if !errors.As(err, &e) {
		return err
	}
	outOfSpace := e.SystemErrno == syscall.ENOSPC || e.SystemErrno == syscall.EDQUOT
	if e.Code == sqlite3.ErrFull || e.ExtendedCode == sqlite3.ErrIoErrSHMSize || e.Code == sqlite3.ErrIoErr && outOfSpace {
		return fault.Wrap(fault.Full, err, noRoom.Plain())
	}
	return err
}

// isUnique reports whether a unique index or primary key refused a row.
func isUnique(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) &&
		(e.ExtendedCode == sqlite3.ErrConstraintUnique || e.ExtendedCode == sqlite3.ErrConstraintPrimaryKey)
}

// isForeignKey reports whether a row names what does not exist.
func isForeignKey(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && e.ExtendedCode == sqlite3.ErrConstraintForeignKey
}

// isNoDatabase reports whether a file is something else altogether.
func isNoDatabase(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && e.Code == sqlite3.ErrNotADB
}

// sayDamage gives words to what is otherwise the driver's.
func sayDamage(file string, err error) error {
	if !isDamage(err) || !fault.Is(err, fault.Internal) {
		return err
	}
	return fault.Wrap(fault.Conflict, err, fileDamaged.With(words.Args{"file": file, "what": err.Error()}))
}

// isDamage reports whether the file itself is broken.
func isDamage(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && (e.Code == sqlite3.ErrCorrupt || e.Code == sqlite3.ErrNotADB)
}
