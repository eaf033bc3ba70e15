"""The only room that opens media; and the only one that knows how to write a file safely.

    opening  plain files of known container formats, read-only; never a playlist or a URL
    probe    what a clip is, without decoding it: tags (stamps, place, maker) and timing (frame rate)
    packets  sizes of packets from the container's index
    decode   pictures and sound of a clip, streamed
    writing  write beside the target, then rename

Cutting and encoding will stand here too, through ffmpeg-python; nothing is rendered yet.
"""
