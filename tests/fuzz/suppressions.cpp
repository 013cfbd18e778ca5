// What other libraries keep until the end is no leak of ours: fontconfig's fonts.
// NOLINTBEGIN(bugprone-reserved-identifier, readability-identifier-naming)
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() { return "leak:libfontconfig.so\n"; }
// NOLINTEND(bugprone-reserved-identifier, readability-identifier-naming)
