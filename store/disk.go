package store

import (
	"errors"
	"io"
	"os"
)

// step names one step in which the store changes what is on the disk.
type step string

// The steps, each made at one place. TestStepsAreComplete holds that nothing is written
// but in one of them, and TestEachStepCanFail makes each of them fail.
const (
	stepMakeBench    step = "folder: make"
	stepMakeCaptures step = "folder: make captures"
	stepProbe        step = "folder: try to write"
	stepProbeRemove  step = "folder: remove what was tried"
	stepHolder       step = "lock: note the holder"
	stepHolderRemove step = "lock: remove the note"
	stepRemains      step = "folder: remove remains"

	stepSchemaOpen step = "schema: open the database"
	stepSchema     step = "schema: change"
	stepBegin      step = "record: begin"
	stepCommit     step = "record: commit"
	stepCommitted  step = "record: committed, not acknowledged yet"
	stepCheckpoint step = "record: checkpoint at the end"

	stepFileMake    step = "capture: make"
	stepFileWrite   step = "capture: write"
	stepFileSync    step = "capture: sync"
	stepFileClose   step = "capture: close"
	stepFileMode    step = "capture: make read-only"
	stepFileName    step = "capture: give its name"
	stepFileSettle  step = "capture: sync the folder"
	stepFileAgain   step = "capture: sync the folder of one kept before"
	stepFileUndo    step = "capture: take the name back"
	stepFileDiscard step = "capture: remove what is not whole"

	stepCopyFolder  step = "copy: make the folder"
	stepCopyClear   step = "copy: remove an older remain"
	stepCopyWrite   step = "copy: write"
	stepCopySync    step = "copy: sync"
	stepCopyName    step = "copy: give its name"
	stepCopySettle  step = "copy: sync the folder"
	stepCopyDiscard step = "copy: remove what is not whole"
	stepCopyOld     step = "copy: remove the oldest day"

	stepBackupMake    step = "backup: make"
	stepBackupTemp    step = "backup: make a folder for the database"
	stepBackupCopy    step = "backup: copy the database"
	stepBackupWrite   step = "backup: write"
	stepBackupSync    step = "backup: sync"
	stepBackupClose   step = "backup: close"
	stepBackupName    step = "backup: give its name"
	stepBackupSettle  step = "backup: sync the folder"
	stepBackupUndo    step = "backup: take the name back"
	stepBackupClear   step = "backup: remove the copy of the database"
	stepBackupDiscard step = "backup: remove what is not whole"

	stepSnapshotMake  step = "snapshot: make a folder for the database"
	stepSnapshotClear step = "snapshot: remove the copy of the database"
	stepImportDiscard step = "import: remove a capture of one that failed"

	stepRestoreParent   step = "restore: make the folder above"
	stepRestoreTemp     step = "restore: make"
	stepRestoreMode     step = "restore: open the folder to others"
	stepRestoreCaptures step = "restore: make captures"
	stepRestoreMake     step = "restore: make a file"
	stepRestoreWrite    step = "restore: write a file"
	stepRestoreSync     step = "restore: sync a file"
	stepRestoreClose    step = "restore: close a file"
	stepRestoreFiles    step = "restore: sync captures"
	stepRestoreFolder   step = "restore: sync the folder"
	stepRestoreEmpty    step = "restore: remove the empty folder"
	stepRestoreName     step = "restore: give its name"
	stepRestoreSettle   step = "restore: sync the folder above"
	stepRestoreUndo     step = "restore: take the name back"
	stepRestoreAgain    step = "restore: make the empty folder again"
	stepRestoreDiscard  step = "restore: remove what is not whole"
)

// disk makes the steps; the zero value is for use.
type disk struct {
	// before, where there is one, is asked before each step: its error is the step's, which
	// is not made then. part makes half of the step where that can be, as a disk does that
	// runs full within a write.
	before func(at step, part func()) error
}

// do makes a step.
func (d disk) do(at step, make func() error) error {
	if d.before != nil {
		if err := d.before(at, func() {}); err != nil {
			return err
		}
	}
	return make()
}

// writer writes to w in steps.
func (d disk) writer(at step, w io.Writer) io.Writer { return stepWriter{d, at, w} }

type stepWriter struct {
	d  disk
	at step
	w  io.Writer
}

func (w stepWriter) Write(p []byte) (n int, err error) {
	if w.d.before != nil {
		if err := w.d.before(w.at, func() { n, _ = w.w.Write(p[:len(p)/2]) }); err != nil {
			return n, err
		}
	}
	return w.w.Write(p)
}

// discard removes what is not whole. What cannot be removed lies under a name that nothing
// reads, until the next time the bench is opened or for a person to remove.
func (d disk) discard(at step, path string) {
	_ = d.do(at, func() error { return os.RemoveAll(path) })
}

// close is for a file that was written: an error of the disk may come as late as that.
func (d disk) close(at step, f *os.File) error {
	err := d.do(at, func() error { return nil })
	return errors.Join(err, f.Close())
}
