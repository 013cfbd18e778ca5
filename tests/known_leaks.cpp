// What other libraries keep until the end, or lose over a damaged file, is no leak of ours: fontconfig's fonts, and
// what libsndfile leaves in libvorbis. Part of every program that is built with the address sanitizer.
// NOLINTBEGIN(bugprone-reserved-identifier, readability-identifier-naming)
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() { return "leak:libfontconfig.so\nleak:libvorbis.so\n"; }
// NOLINTEND(bugprone-reserved-identifier, readability-identifier-naming)
