"""The only room that opens media or starts ffmpeg; and the only one that knows how to write a file safely.

    probe    what a clip is (PyAV); tags: its text metadata; timing: its frame rate
    decode   pictures and sound of a clip, streamed (PyAV)
    encode   cutting and encoding (ffmpeg-python, with the ffmpeg of the imageio-ffmpeg wheel or of PATH)
    writing  write beside the target, then rename
"""
