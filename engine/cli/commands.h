#pragma once
// One command a file: each file defines one of these functions, and main.cc lists them in its
// table. argv[0] is the command's own name. Returns the exit status: 0 ok, 1 the answer is "no", 2
// usage or unusable input.

namespace engine::cli {

inline constexpr int kOk = 0;
inline constexpr int kNo = 1;
inline constexpr int kUsage = 2;

int run_check(int argc, char** argv);

int run_fhirpath(int argc, char** argv);
int run_map(int argc, char** argv);
int run_journal(int argc, char** argv);
int run_people(int argc, char** argv);
int run_preflight(int argc, char** argv);
int run_profiles(int argc, char** argv);
int run_replay(int argc, char** argv);
int run_serve(int argc, char** argv);
int run_session(int argc, char** argv);
int run_units(int argc, char** argv);

}  // namespace engine::cli
