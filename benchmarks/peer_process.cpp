// SPDX-License-Identifier: Apache-2.0
#include "peer_process.h"

#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <iterator>
#include <sstream>
#include <string>
#include <vector>

namespace windwright::benchmarks {

namespace {

bool missing = false;

}  // namespace

bool peer_missing() {
  return missing;
}

PeerProcess::PeerProcess(const std::string& script, const std::vector<std::string>& arguments) {
  std::signal(SIGPIPE, SIG_IGN);  // a peer that is not there answers nothing
  int to[2];
  int from[2];
  if (::pipe(to) != 0 || ::pipe(from) != 0) std::abort();
  std::vector<std::string> words{"python3", std::string(SOURCE_FOLDER) + "/benchmarks/" + script};
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> pointers;
  for (std::string& word : words)
    pointers.push_back(word.data());
  pointers.push_back(nullptr);
  child_ = ::fork();
  if (child_ == 0) {
    ::dup2(to[0], 0);
    ::dup2(from[1], 1);
    ::close(to[1]);
    ::close(from[0]);
    ::setenv("OMP_NUM_THREADS", "1", 1);
    ::setenv("OPENBLAS_NUM_THREADS", "1", 1);
    ::execv("/usr/bin/python3", pointers.data());
    ::_exit(127);
  }
  ::close(to[0]);
  ::close(from[1]);
  write_ = ::fdopen(to[1], "w");
  read_ = ::fdopen(from[0], "r");
}

PeerProcess::~PeerProcess() {
  std::fclose(write_);
  std::fclose(read_);
  int status = 0;
  ::waitpid(child_, &status, 0);
}

void PeerProcess::tell(const std::string& line) {
  std::fputs((line + "\n").c_str(), write_);
  std::fflush(write_);
}

std::string PeerProcess::answer(const std::string& line) {
  tell(line);
  std::string answer;
  for (int c = std::fgetc(read_); c != EOF && c != '\n'; c = std::fgetc(read_))
    answer += static_cast<char>(c);
  missing = missing || answer.empty();
  return answer;
}

std::vector<double> PeerProcess::ask(const std::string& line) {
  std::istringstream words(answer(line));
  return {std::istream_iterator<double>(words), std::istream_iterator<double>()};
}

double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

}  // namespace windwright::benchmarks
