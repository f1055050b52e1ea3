// A disk that is soon full, for tests of writers: a child process with a file system of its own in memory.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <optional>
#include <string>

#include <sched.h>
#include <sys/mount.h>
#include <sys/wait.h>
#include <unistd.h>

namespace firstedge::test {

/// Runs call(folder) in a child process in which folder is a disk of so many bytes, and gives everything that
/// the child printed on both outputs up to its end, followed by "exit <status>" unless that is 0. Nothing if
/// the machine does not let us mount (no user namespaces).
inline std::optional<std::string> printed_on_small_disk(
    const std::filesystem::path& folder, std::size_t bytes,
    const std::function<void(const std::filesystem::path&)>& call) {
  constexpr int cannot_mount = 77;
  int ends[2] = {};
  if (pipe(ends) != 0) return std::nullopt;
  std::fflush(nullptr);  // so that the child does not print it a second time
  const pid_t child = fork();
  if (child == 0) {
    const std::string options = "size=" + std::to_string(bytes);
    const std::string user = "0 " + std::to_string(getuid()) + " 1",
                      group = "0 " + std::to_string(getgid()) + " 1";
    const auto put = [](const char* name, const std::string& text) {
      std::ofstream(std::string("/proc/self/") + name) << text;
    };
    const bool apart = unshare(CLONE_NEWUSER | CLONE_NEWNS) == 0;
    put("setgroups", "deny");  // users who are nobody in there can create no file
    put("gid_map", group);
    put("uid_map", user);
    if (!apart || mount("tmpfs", folder.c_str(), "tmpfs", 0, options.c_str()) != 0) {
      _exit(cannot_mount);
    }
    dup2(ends[1], STDOUT_FILENO);
    dup2(ends[1], STDERR_FILENO);
    close(ends[0]);
    close(ends[1]);
    call(folder);
    std::exit(0);  // not _exit: what libraries say at the end is part of the claim
  }
  close(ends[1]);
  std::string printed(1U << 16U, '\0');
  std::size_t size = 0;
  for (ssize_t part = 1; part > 0 && size < printed.size(); size += static_cast<std::size_t>(part)) {
    part = read(ends[0], printed.data() + size, printed.size() - size);
    if (part < 0) part = 0;
  }
  printed.resize(size);
  close(ends[0]);
  int status = 0;
  waitpid(child, &status, 0);
  if (WIFEXITED(status) && WEXITSTATUS(status) == cannot_mount) return std::nullopt;
  if (status != 0) printed += "exit " + std::to_string(status);
  return printed;
}

}  // namespace firstedge::test
